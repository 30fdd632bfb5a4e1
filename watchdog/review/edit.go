package review

import (
	"fmt"
	"regexp"
	"strings"

	"pinfold/config"
	"pinfold/watchdog"
)

// editor changes numbers in the text of a site file, line by line, so that
// comments and order stay. A change is kept only where the file as a whole is
// still valid, means what was meant, and is tighter.
type editor struct {
	old     *config.Site
	text    string
	parse   func([]byte) (*config.Site, error)
	changes []Change
}

// change writes value for key in the vehicle's table, or says in a finding why
// it does not. ok says whether the vehicle's config has it.
func (e *editor) change(index int, l *Learned, table, key, value string, ok func(*watchdog.Config) bool, why string) {
	full := table + "." + key
	refuse := func(reason string) {
		l.find("%s = %s would be tighter (%s), but is not proposed: %s", full, value, why, reason)
	}
	lines := strings.SplitAfter(e.text, "\n")
	at, begin, end := e.find(lines, index, table, key)
	if at < 0 {
		refuse("it does not stand on a line of its own in [vehicle." + table + "]; write it there")
		return
	}
	was := lines[at][begin:end]
	lines[at] = lines[at][:begin] + value + lines[at][end:]
	text := strings.Join(lines, "")
	next, err := e.parse([]byte(text))
	if err == nil {
		err = config.Tighter(e.old, next)
	}
	switch {
	case err != nil:
		refuse("the site file would then not do: " + err.Error())
		return
	case index >= len(next.Vehicles) || !ok(&next.Vehicles[index].Config):
		refuse("the line that seems to hold it does not; change it yourself")
		return
	}
	e.text = text
	e.changes = append(e.changes, Change{Vehicle: l.Name, Key: full, Line: at + 1, Old: was, New: value, Why: why})
}

// has says whether key stands on a line of its own.
func (e *editor) has(index int, table, key string) bool {
	at, _, _ := e.find(strings.SplitAfter(e.text, "\n"), index, table, key)
	return at >= 0
}

// find gives the line and the bytes of a value in a table of the vehicle number
// index; -1 where it does not stand on a line of its own.
func (e *editor) find(lines []string, index int, table, key string) (at, begin, end int) {
	header := regexp.MustCompile(`^\s*\[+\s*([^\]]*?)\s*\]+`)
	value := regexp.MustCompile(`^\s*` + regexp.QuoteMeta(key) + `\s*=\s*("[^"]*"|'[^']*'|[-+0-9][^\s#,{}\[\]]*)`)
	vehicle, name := -1, ""
	for i, l := range lines {
		if m := header.FindStringSubmatch(l); m != nil {
			name = strings.Join(strings.Fields(strings.ReplaceAll(m[1], ".", " ")), ".")
			if name == "vehicle" {
				vehicle++
			}
			continue
		}
		if vehicle == index && name == "vehicle."+table {
			if m := value.FindStringSubmatchIndex(l); m != nil {
				return i, m[2], m[3]
			}
		}
	}
	return -1, 0, 0
}

// around is how many unchanged lines stand around a change in a diff.
const around = 3

// unified is the unified difference of two texts of as many lines; empty where
// there is none.
func unified(name, old, next string) string {
	a, b := strings.SplitAfter(old, "\n"), strings.SplitAfter(next, "\n")
	if len(a) > 0 && a[len(a)-1] == "" {
		a, b = a[:len(a)-1], b[:len(b)-1]
	}
	var out strings.Builder
	for i := 0; i < len(a); i++ {
		if a[i] == b[i] {
			continue
		}
		from, to := max(0, i-around), i+1 // lines from..to
		for j := i + 1; j < len(a) && j <= to-1+2*around; j++ {
			if a[j] != b[j] {
				to = j + 1
			}
		}
		end := min(len(a), to+around)
		if out.Len() == 0 {
			fmt.Fprintf(&out, "--- %s\n+++ %s\n", name, name)
		}
		fmt.Fprintf(&out, "@@ -%d,%d +%d,%d @@\n", from+1, end-from, from+1, end-from)
		hunk(&out, a[from:end], b[from:end])
		i = end - 1
	}
	return out.String()
}

// hunk writes lines, runs of changed ones with the old before the new.
func hunk(out *strings.Builder, a, b []string) {
	put := func(mark, line string) {
		out.WriteString(mark + strings.TrimSuffix(line, "\n") + "\n")
		if !strings.HasSuffix(line, "\n") {
			out.WriteString("\\ No newline at end of file\n")
		}
	}
	for i := 0; i < len(a); {
		if a[i] == b[i] {
			put(" ", a[i])
			i++
			continue
		}
		to := i
		for to < len(a) && a[to] != b[to] {
			to++
		}
		for _, l := range a[i:to] {
			put("-", l)
		}
		for _, l := range b[i:to] {
			put("+", l)
		}
		i = to
	}
}
