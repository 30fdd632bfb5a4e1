package config

import (
	"fmt"
	"sort"
	"strings"
)

// Problem is one mistake or caution: where it stands, what was found, what is
// wrong with it and what to do next.
type Problem struct {
	File  string `json:"file"`            // the site file's path, or a zone file as the site file names it
	Line  int    `json:"line"`            // from 1; 0 where no line is meant
	Key   string `json:"key,omitempty"`   // "vehicle.radius"; empty where no key is meant
	Value string `json:"value,omitempty"` // as found, shortened; empty where there is none
	What  string `json:"what"`            // what is wrong, in plain words
	Next  string `json:"next"`            // the next step
}

// String is the problem on one line: `site.toml:12: vehicle.radius = -1: must
// be from 0 to 100 m. Next: give half the body's width`.
func (p Problem) String() string {
	var b strings.Builder
	b.WriteString(p.File)
	if p.Line > 0 {
		fmt.Fprintf(&b, ":%d", p.Line)
	}
	if p.Key != "" {
		b.WriteString(": " + p.Key)
		if p.Value != "" {
			b.WriteString(" = " + p.Value)
		}
	}
	b.WriteString(": " + p.What)
	if p.Next != "" {
		b.WriteString(". Next: " + p.Next)
	}
	return b.String()
}

// Problems is everything wrong with a site at once, in the order of the files
// and their lines. It is the only error type Load, Parse and Tighter return.
type Problems []Problem

// Error gives one problem a line.
func (ps Problems) Error() string {
	lines := make([]string, len(ps))
	for i, p := range ps {
		lines[i] = p.String()
	}
	return strings.Join(lines, "\n")
}

// err is ps as an error: nil where there are none.
func (ps Problems) err() error {
	if len(ps) == 0 {
		return nil
	}
	return ps
}

// sorted puts ps in the order of files, then lines, and bounds their number.
func (ps Problems) sorted(files []File, site string) Problems {
	rank := func(name string) int {
		if name == site {
			return -1
		}
		for i, f := range files {
			if f.Name == name {
				return i
			}
		}
		return len(files)
	}
	sort.SliceStable(ps, func(i, j int) bool {
		if a, b := rank(ps[i].File), rank(ps[j].File); a != b {
			return a < b
		}
		return ps[i].Line < ps[j].Line
	})
	if len(ps) > MaxProblems {
		more := len(ps) - MaxProblems
		ps = append(ps[:MaxProblems:MaxProblems], Problem{File: site,
			What: fmt.Sprintf("%d more problems are not shown", more), Next: "mend the ones above and check again"})
	}
	return ps
}
