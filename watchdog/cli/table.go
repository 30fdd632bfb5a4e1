package cli

import (
	"fmt"
	"io"
	"strings"
	"unicode/utf8"
)

// table prints rows in aligned columns, without lines.
type table struct {
	head []string
	rows [][]string
}

func newTable(head ...string) *table { return &table{head: head} }

func (t *table) row(cells ...string) { t.rows = append(t.rows, cells) }

// print prints nothing where there are no rows.
func (t *table) print(w io.Writer) {
	if len(t.rows) == 0 {
		return
	}
	width := make([]int, len(t.head))
	all := append([][]string{t.head}, t.rows...)
	for _, r := range all {
		for i, c := range r {
			width[i] = max(width[i], utf8.RuneCountInString(c))
		}
	}
	for _, r := range all {
		var b strings.Builder
		for i, c := range r {
			b.WriteString(c)
			if i < len(r)-1 {
				b.WriteString(strings.Repeat(" ", width[i]-utf8.RuneCountInString(c)+2))
			}
		}
		fmt.Fprintln(w, strings.TrimRight(b.String(), " "))
	}
}

// fold breaks text into lines that a narrow terminal shows whole, the later ones
// indented by two.
func fold(text string) string {
	lines := wrap(strings.TrimLeft(text, " "), columns-2, "  ")
	return text[:len(text)-len(strings.TrimLeft(text, " "))] + strings.Join(lines, "\n")
}
