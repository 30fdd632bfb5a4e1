package config

import (
	"strconv"
	"strings"
)

// place is where a value of the site file stands: the line of its key, or of
// the value itself in a list. It mirrors the tree of values; the toml library
// gives lines of syntax errors only.
//
// Limits: the text must be valid TOML for every place to be found. In other
// text the tree ends where the scanner lost its way, and a look-up gives the
// nearest place above. A key defined in parts ([a.b] and later [a]) has the
// line where it was first seen.
type place struct {
	line  int
	keys  map[string]*place
	items []*place
}

// key is the place below p called name, or p itself where none is known.
func (p *place) key(name string) *place {
	if k, ok := p.keys[name]; ok {
		return k
	}
	return p
}

// item is the place of element i, or p itself where none is known.
func (p *place) item(i int) *place {
	if i >= 0 && i < len(p.items) {
		return p.items[i]
	}
	return p
}

// child is the place below p called name, made where it is new.
func (p *place) child(name string, line int) *place {
	if k, ok := p.keys[name]; ok {
		return k
	}
	if p.keys == nil {
		p.keys = make(map[string]*place)
	}
	k := &place{line: line}
	p.keys[name] = k
	return k
}

// newest is the table a header means by p: the last of a list of tables.
func (p *place) newest() *place {
	if n := len(p.items); n > 0 {
		return p.items[n-1]
	}
	return p
}

// scanner walks TOML text once. It reads on through what it does not
// understand, always moves forward, and keeps to maxDepth.
type scanner struct {
	b    string
	i    int
	line int
	deep bool // nesting or a dotted key beyond maxDepth was met
}

// scanPlaces gives the places of the text, and whether something in it is
// nested deeper than maxDepth.
func scanPlaces(text string) (root *place, deep bool) {
	s := &scanner{b: text, line: 1}
	root = &place{line: 1}
	table := root
	for s.blank(true); s.i < len(s.b) && !s.deep; s.blank(true) {
		start := s.i
		if s.b[s.i] == '[' {
			table = s.header(root)
		} else {
			s.pair(table, 0)
		}
		if s.i == start {
			s.i++
		}
	}
	return root, s.deep
}

// peek is the byte n further on; 0 at the end.
func (s *scanner) peek(n int) byte {
	if s.i+n < len(s.b) {
		return s.b[s.i+n]
	}
	return 0
}

// blank skips spaces, and newlines and comments where asked.
func (s *scanner) blank(newlines bool) {
	for s.i < len(s.b) {
		switch c := s.b[s.i]; {
		case c == ' ' || c == '\t' || c == '\r':
		case c == '\n' && newlines:
			s.line++
		case c == '#' && newlines:
			for s.i < len(s.b) && s.b[s.i] != '\n' {
				s.i++
			}
			continue
		default:
			return
		}
		s.i++
	}
}

// header reads [a.b] or [[a.b]] and gives the table that follows it.
func (s *scanner) header(root *place) *place {
	line, list := s.line, s.peek(1) == '['
	s.i++
	if list {
		s.i++
	}
	path := s.path()
	for s.peek(0) == ']' {
		s.i++
	}
	p := root
	for _, name := range path {
		p = p.newest().child(name, line)
	}
	if !list {
		return p.newest()
	}
	p.items = append(p.items, &place{line: line})
	return p.newest()
}

// pair reads key = value below table.
func (s *scanner) pair(table *place, depth int) {
	line := s.line
	path := s.path()
	if len(path) == 0 {
		return
	}
	p := table
	for _, name := range path {
		p = p.child(name, line)
	}
	if s.peek(0) == '=' {
		s.i++
		s.blank(false)
		s.value(p, depth)
	}
}

// path reads a dotted key.
func (s *scanner) path() (path []string) {
	for {
		s.blank(false)
		name, ok := s.name()
		if !ok {
			return path
		}
		if path = append(path, name); len(path) > maxDepth {
			s.deep = true
			return path
		}
		s.blank(false)
		if s.peek(0) != '.' {
			return path
		}
		s.i++
	}
}

// name reads one part of a key, bare or quoted.
func (s *scanner) name() (string, bool) {
	start := s.i
	if c := s.peek(0); c == '"' || c == '\'' {
		s.str()
		raw := s.b[start:s.i]
		if c == '"' {
			if text, err := strconv.Unquote(raw); err == nil {
				return text, true
			}
		}
		return strings.Trim(raw, string(c)), true
	}
	for s.i < len(s.b) && !strings.ContainsRune(" \t\r\n.=[]{},#\"'", rune(s.b[s.i])) {
		s.i++
	}
	return s.b[start:s.i], s.i > start
}

// value reads the value of p.
func (s *scanner) value(p *place, depth int) {
	if depth > maxDepth {
		s.deep = true
		return
	}
	switch s.peek(0) {
	case '"', '\'':
		s.str()
	case '[':
		s.list(p, depth)
	case '{':
		s.inline(p, depth)
	default:
		for s.i < len(s.b) && !strings.ContainsRune(",]}\n#", rune(s.b[s.i])) {
			s.i++
		}
	}
}

// list reads [a, b, …].
func (s *scanner) list(p *place, depth int) {
	s.i++
	for s.blank(true); s.i < len(s.b) && !s.deep; s.blank(true) {
		switch s.b[s.i] {
		case ']':
			s.i++
			return
		case ',':
			s.i++
		default:
			start := s.i
			item := &place{line: s.line}
			p.items = append(p.items, item)
			if s.value(item, depth+1); s.i == start {
				return
			}
		}
	}
}

// inline reads {a = b, …}.
func (s *scanner) inline(p *place, depth int) {
	s.i++
	for s.blank(true); s.i < len(s.b) && !s.deep; s.blank(true) {
		switch s.b[s.i] {
		case '}':
			s.i++
			return
		case ',':
			s.i++
		default:
			start := s.i
			if s.pair(p, depth+1); s.i == start {
				return
			}
		}
	}
}

// str skips a string of any of the four kinds.
func (s *scanner) str() {
	defer func() { s.i = min(s.i, len(s.b)) }()
	quote := s.b[s.i]
	long := s.peek(1) == quote && s.peek(2) == quote
	s.i++
	if long {
		s.i += 2
	}
	for s.i < len(s.b) {
		switch c := s.b[s.i]; {
		case c == '\\' && quote == '"':
			if s.peek(1) == '\n' {
				s.line++
			}
			s.i++
		case c == '\n':
			if !long {
				return
			}
			s.line++
		case c == quote && !long:
			s.i++
			return
		case c == quote && s.peek(1) == quote && s.peek(2) == quote:
			s.i += 3
			for s.peek(0) == quote { // the text may end in quotes of its own
				s.i++
			}
			return
		}
		s.i++
	}
}
