package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"go/ast"
	"go/importer"
	"go/parser"
	"go/token"
	"go/types"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// unit is one package as go list tells it.
type unit struct {
	ImportPath string
	Dir        string
	GoFiles    []string
	Imports    []string
}

const module = "pinfold"

// rule says which packages of the module a package may import, by path below
// the module; "x/..." is x and everything below it. The first rule that fits a
// package is the one that counts.
type rule struct {
	of  string
	may []string
}

func rules() []rule {
	return []rule{
		{"zones", nil},
		{"watchdog/pose", []string{"watchdog/pose/trig"}},
		{"watchdog/pose/trig", nil},
		{"watchdog/pose/...", []string{"watchdog/pose/..."}},
		{"watchdog/survey", []string{"zones", "watchdog/pose"}},
		{"watchdog", []string{"zones", "watchdog/pose", "watchdog/pose/trig"}},
		{"watchdog/walk", []string{"zones", "watchdog"}},
		{"watchdog/draw", []string{"zones"}},
		{"watchdog/intake", []string{"watchdog", "watchdog/link/wire", "zones"}},
		{"config", []string{"zones", "watchdog", "watchdog/pose"}},
		{"watchdog/link/...", []string{"watchdog/link/..."}},
		{"watchdog/relay", []string{"watchdog/link", "watchdog/link/receiver", "watchdog/link/sign", "watchdog/link/wire"}},
		{"watchdog/trail/...", []string{"watchdog/trail/..."}},
		{"watchdog/console/browsertest", nil},
		{"watchdog/console/...", []string{"watchdog/console/...", "watchdog", "watchdog/pose", "watchdog/link/wire"}},
		{"watchdog/review/...", []string{"watchdog/review/...", "watchdog", "watchdog/draw", "watchdog/intake", "watchdog/pose/...", "watchdog/survey", "watchdog/trail/...", "watchdog/walk", "config", "zones"}},
		{"watchdog/app/...", []string{"watchdog/app/...", "watchdog", "watchdog/intake", "watchdog/pose/...", "watchdog/link/...", "watchdog/trail/...", "watchdog/console/...", "config", "zones"}},
		{"watchdog/rehearse", []string{"sim", "sim/judge", "watchdog", "watchdog/pose", "watchdog/link/receiver", "watchdog/link/wire", "config", "zones"}},
		{"watchdog/rehearse/page", []string{"watchdog/rehearse", "watchdog/draw", "zones"}},
		{"watchdog/cli/...", []string{"..."}},
		{"sim/judge", nil},
		{"sim/broker", nil},
		{"sim/...", []string{"sim/...", "watchdog/link/..."}},
		{"packaging/manual", []string{"watchdog/cli"}},
		{"packaging/ship", nil},
		{"packaging", []string{"packaging/manual", "packaging/ship", "watchdog/cli"}},
		{"packaging/footprint", []string{"packaging/ship", "sim/broker", "watchdog", "watchdog/link", "watchdog/link/wire", "watchdog/trail"}},
		{"", []string{"watchdog/cli"}},
	}
}

// fits says whether path is what pattern means.
func fits(pattern, path string) bool {
	if base, ok := strings.CutSuffix(pattern, "..."); ok {
		return path+"/" == base || strings.HasPrefix(path, base)
	}
	return path == pattern
}

// below is the part of an import path below the module; ok is false outside it.
func below(path string) (rest string, ok bool) {
	if path == module {
		return "", true
	}
	return strings.CutPrefix(path, module+"/")
}

// wrongImports lists what a package imports against the rules.
func wrongImports(u *unit) (wrong []string) {
	of, _ := below(u.ImportPath)
	i := slices.IndexFunc(rules(), func(r rule) bool { return fits(r.of, of) })
	if i < 0 {
		return []string{u.ImportPath + " has no rule: say in rules what it may import"}
	}
	for _, path := range u.Imports {
		imported, ours := below(path)
		if ours && !slices.ContainsFunc(rules()[i].may, func(p string) bool { return fits(p, imported) }) {
			wrong = append(wrong, u.ImportPath+" imports "+path)
		}
	}
	return wrong
}

// units lists the packages of the module.
func units(t *testing.T) (all []unit) {
	t.Helper()
	out, err := exec.Command("go", "list", "-json=ImportPath,Dir,GoFiles,Imports", "./...").Output()
	if err != nil {
		t.Fatal(err, string(stderr(err)))
	}
	for dec := json.NewDecoder(bytes.NewReader(out)); ; {
		var u unit
		if err := dec.Decode(&u); errors.Is(err, io.EOF) {
			return all
		} else if err != nil {
			t.Fatal(err)
		}
		all = append(all, u)
	}
}

func stderr(err error) []byte {
	var e *exec.ExitError
	if errors.As(err, &e) {
		return e.Stderr
	}
	return nil
}

// TestImports holds the arrows of DEVELOPERS.md: who may know whom.
func TestImports(t *testing.T) {
	seen := 0
	for _, u := range units(t) {
		for _, w := range wrongImports(&u) {
			t.Error(w)
		}
		if of, _ := below(u.ImportPath); slices.Contains([]string{"zones", "watchdog", "watchdog/pose"}, of) {
			seen++
		}
	}
	if seen != 3 {
		t.Errorf("saw %d of the three pure packages", seen)
	}
}

func TestImportRulesCanFail(t *testing.T) {
	for _, c := range []struct {
		of, imports string
		wrong       bool
	}{
		{"pinfold/zones", "pinfold/watchdog/pose", true},
		{"pinfold/watchdog/pose", "pinfold/zones", true},
		{"pinfold/watchdog", "pinfold/watchdog/link", true},
		{"pinfold/watchdog", "pinfold/watchdog/pose/recording", true},
		{"pinfold/watchdog", "pinfold/zones", false},
		{"pinfold/config", "pinfold/watchdog/app", true},
		{"pinfold/watchdog/link/receiver", "pinfold/watchdog/link/wire", false},
		{"pinfold/watchdog/link", "pinfold/watchdog", true},
		{"pinfold/watchdog/trail/intake", "pinfold/watchdog/link/wire", true},
		{"pinfold/watchdog/app", "pinfold/sim", true},
		{"pinfold/watchdog/cli", "pinfold/sim", false},
		{"pinfold/sim", "pinfold/watchdog", true},
		{"pinfold/sim", "pinfold/watchdog/link/receiver", false},
		{"pinfold/sim/judge", "pinfold/zones", true},
		{"pinfold/watchdog/rehearse", "pinfold/sim/judge", false},
		{"pinfold/watchdog/rehearse", "pinfold/watchdog/app", true},
		{"pinfold", "pinfold/sim", true},
		{"pinfold/elsewhere", "fmt", true},
	} {
		got := wrongImports(&unit{ImportPath: c.of, Imports: []string{c.imports}})
		if (len(got) > 0) != c.wrong {
			t.Errorf("%s importing %s: %q, want wrong %v", c.of, c.imports, got, c.wrong)
		}
	}
}

// pure are the packages that compute and nothing else.
func pure() []string { return []string{"zones", "watchdog", "watchdog/pose"} }

// exports is an importer of compiled packages: those the pure ones need, and
// those the bad examples name.
func exports(t *testing.T, set *token.FileSet) types.Importer {
	t.Helper()
	args := []string{"list", "-export", "-deps", "-f", "{{.ImportPath}} {{.Export}}",
		"errors", "os", "net/http", "sync/atomic", "log/slog", "time", "maps"}
	for _, p := range pure() {
		args = append(args, "./"+p)
	}
	out, err := exec.Command("go", args...).Output()
	if err != nil {
		t.Fatal(err, string(stderr(err)))
	}
	files := map[string]string{}
	for line := range strings.Lines(string(out)) {
		path, file, _ := strings.Cut(strings.TrimSpace(line), " ")
		files[path] = file
	}
	return importer.ForCompiler(set, "gc", func(path string) (io.ReadCloser, error) { return os.Open(files[path]) })
}

// TestPurePackages: the packages that decide start no goroutine, keep no state
// outside their values, ask no clock and range over no map, so that the same
// input gives the same answer.
func TestPurePackages(t *testing.T) {
	found := 0
	set := token.NewFileSet()
	imports := exports(t, set)
	for _, u := range units(t) {
		if of, _ := below(u.ImportPath); !slices.Contains(pure(), of) {
			continue
		}
		found++
		sources := map[string]string{}
		for _, name := range u.GoFiles {
			b, err := os.ReadFile(filepath.Join(u.Dir, name))
			if err != nil {
				t.Fatal(err)
			}
			sources[filepath.Join(u.ImportPath, name)] = string(b)
		}
		for _, w := range impure(t, set, imports, u.ImportPath, sources) {
			t.Error(w)
		}
	}
	if found != len(pure()) {
		t.Errorf("saw %d of %d pure packages", found, len(pure()))
	}
}

// impure lists what the sources of one package do that a pure one may not.
func impure(t *testing.T, set *token.FileSet, imports types.Importer, path string, sources map[string]string) (wrong []string) {
	t.Helper()
	names := make([]string, 0, len(sources))
	for n := range sources {
		names = append(names, n)
	}
	slices.Sort(names)
	var files []*ast.File
	for _, n := range names {
		f, err := parser.ParseFile(set, n, sources[n], parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, f)
	}
	info := &types.Info{Types: map[ast.Expr]types.TypeAndValue{}, Uses: map[*ast.Ident]types.Object{}}
	conf := types.Config{Importer: imports}
	if _, err := conf.Check(path, set, files, info); err != nil {
		t.Fatal(err)
	}
	say := func(n ast.Node, what string) {
		wrong = append(wrong, set.Position(n.Pos()).String()+": "+what)
	}
	for _, f := range files {
		packageLevel(f, say)
		ast.Inspect(f, func(n ast.Node) bool { impureNode(n, info, say); return true })
	}
	return wrong
}

// packageLevel finds imports and package variables. A blank one, an assertion
// to the compiler, keeps nothing.
func packageLevel(f *ast.File, say func(ast.Node, string)) {
	for _, i := range f.Imports {
		path := strings.Trim(i.Path.Value, `"`)
		for _, no := range []string{"os", "net", "log", "sync", "runtime", "context", "syscall", "unsafe", "math/rand", "testing", "io/fs"} {
			if path == no || strings.HasPrefix(path, no+"/") {
				say(i, "imports "+path)
			}
		}
	}
	for _, d := range f.Decls {
		g, ok := d.(*ast.GenDecl)
		if !ok || g.Tok != token.VAR {
			continue
		}
		for _, s := range g.Specs {
			for _, name := range s.(*ast.ValueSpec).Names {
				if name.Name != "_" {
					say(name, "package variable "+name.Name)
				}
			}
		}
	}
}

func impureNode(n ast.Node, info *types.Info, say func(ast.Node, string)) {
	switch n := n.(type) {
	case *ast.GoStmt:
		say(n, "go statement")
	case *ast.SelectStmt:
		say(n, "select")
	case *ast.ChanType:
		say(n, "channel type")
	case *ast.SendStmt:
		say(n, "send on a channel")
	case *ast.RangeStmt:
		switch under(info.TypeOf(n.X)).(type) {
		case *types.Map:
			say(n, "range over a map")
		case *types.Chan:
			say(n, "range over a channel")
		}
	case *ast.UnaryExpr:
		if n.Op == token.ARROW {
			say(n, "receive from a channel")
		}
	case *ast.Ident:
		impureUse(n, info, say)
	}
}

// under is a type's underlying type, through a type parameter's core.
func under(t types.Type) types.Type {
	if t == nil {
		return nil
	}
	return t.Underlying()
}

// impureUse finds what asks a clock, or walks a map under another name.
func impureUse(n *ast.Ident, info *types.Info, say func(ast.Node, string)) {
	o := info.Uses[n]
	if o == nil || o.Pkg() == nil {
		return
	}
	if _, isFunc := o.(*types.Func); !isFunc {
		return
	}
	if o.Type().(*types.Signature).Recv() != nil && o.Pkg().Path() != "reflect" {
		return
	}
	name := o.Pkg().Path() + "." + o.Name()
	switch name {
	case "time.Now", "time.Since", "time.Until", "time.After", "time.AfterFunc", "time.Sleep", "time.Tick",
		"time.NewTimer", "time.NewTicker", "maps.Keys", "maps.Values", "maps.All", "maps.Collect",
		"reflect.MapRange", "reflect.MapKeys", "reflect.Seq", "reflect.Seq2":
		say(n, "uses "+name)
	}
}

// TestPureCheckCanFail shows that each rule bites, and that it lets through
// what is meant to be let through.
func TestPureCheckCanFail(t *testing.T) {
	set := token.NewFileSet()
	imports := exports(t, set)
	for _, c := range []struct{ what, body string }{
		{"go statement", "func f() { go f() }"},
		{"select", "func f() { select {} }"},
		{"channel type", "func f(c chan int) {}"},
		{"send on a channel", "type c chan int; func f(x c) { x <- 1 }"},
		{"receive from a channel", "type c chan int; func f(x c) { <-x }"},
		{"range over a channel", "type c chan int; func f(x c) { for range x {} }"},
		{"range over a map", "type m map[int]int; func f(x m) { for range x {} }"},
		{"range over a map", "func f() { for k := range map[string]bool{} { _ = k } }"},
		{"package variable x", "var x = 1"},
		{"package variable Err", "import \"errors\"; var Err = errors.New(\"x\")"},
		{"imports os", "import \"os\"; func f() { os.Exit(1) }"},
		{"imports net/http", "import _ \"net/http\""},
		{"imports sync/atomic", "import _ \"sync/atomic\""},
		{"imports log/slog", "import _ \"log/slog\""},
		{"uses time.Now", "import \"time\"; func f() { time.Now() }"},
		{"uses time.Since", "import t \"time\"; func f(x t.Time) { t.Since(x) }"},
		{"uses time.After", "import \"time\"; func f() any { g := time.After; return g }"},
		{"uses maps.Keys", "import \"maps\"; func f(m map[int]int) { for range maps.Keys(m) {} }"},
		{"", "import \"time\"; func f(a, b time.Time) bool { return a.After(b) }"},
		{"", "type i interface{}; var _ i = 1; func f() { for range 3 {} ; for range []int{1} {} }"},
		{"", "func f(m map[int]int) int { var x = m[1]; return x }"},
	} {
		got := impure(t, set, imports, "x", map[string]string{"x.go": "package x; " + c.body})
		bites := slices.ContainsFunc(got, func(s string) bool { return strings.HasSuffix(s, ": "+c.what) })
		if c.what == "" && len(got) > 0 || c.what != "" && !bites {
			t.Errorf("%s: found %q, want %q", c.body, got, c.what)
		}
	}
}
