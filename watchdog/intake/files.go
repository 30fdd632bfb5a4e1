package intake

import "strings"

// FileName is the name under which a trail keeps a file that the site file
// names so: letters, digits, '.', '_' and '-' stay, anything else becomes '_'.
func FileName(name string) string {
	s := strings.Map(func(r rune) rune {
		switch {
		case 'a' <= r && r <= 'z', 'A' <= r && r <= 'Z', '0' <= r && r <= '9', r == '.', r == '_', r == '-':
			return r
		}
		return '_'
	}, name)
	if s == "" || s[0] == '.' {
		s = "_" + s
	}
	return s
}
