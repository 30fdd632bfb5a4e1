package zones

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"strings"
	"testing"
)

// The package is pure: no goroutine, channel, select or clock, no variable at
// package level, nothing of this module imported, no file above 500 lines.
func TestPure(t *testing.T) {
	entries, err := os.ReadDir(".")
	if err != nil {
		t.Fatal(err)
	}
	seen := 0
	for _, e := range entries {
		name := e.Name()
		if !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, "_test.go") {
			continue
		}
		seen++
		fset := token.NewFileSet()
		f, err := parser.ParseFile(fset, name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		if n := fset.File(f.Pos()).LineCount(); n > 500 {
			t.Errorf("%s has %d lines", name, n)
		}
		for _, imp := range f.Imports {
			switch path := strings.Trim(imp.Path.Value, `"`); {
			case strings.HasPrefix(path, "pinfold"), path == "time", path == "os", path == "log", path == "sync":
				t.Errorf("%s imports %s", name, path)
			}
		}
		for _, d := range f.Decls {
			if g, ok := d.(*ast.GenDecl); ok && g.Tok == token.VAR {
				t.Errorf("%s: variable at package level", fset.Position(g.Pos()))
			}
		}
		ast.Inspect(f, func(n ast.Node) bool {
			switch n.(type) {
			case *ast.GoStmt, *ast.SelectStmt, *ast.ChanType, *ast.SendStmt:
				t.Errorf("%s: goroutine or channel", fset.Position(n.Pos()))
			}
			return true
		})
	}
	if seen < 10 {
		t.Errorf("only %d files seen", seen)
	}
}
