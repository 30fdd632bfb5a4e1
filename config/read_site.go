package config

import (
	"fmt"
	"slices"
	"strings"
	"unicode"
)

// siteKeys is what [site] says.
type siteKeys struct {
	name, localRules, guard string
	fellows                 []string
	allowance               float64 // m, how far a pen on the floor reaches below it
	enclosed, saysEnclosed  bool
	at                      *place
}

// everyone is the name on the wire of all vehicles together; nobody else has it.
const everyone = "all"

// defaultGuard is the watchdog's name where the file gives none.
const defaultGuard = "pinfold"

// GroundAllowance is how far below the floor a pen that stands on it is judged
// to reach, m, where the file does not say: what a tracker's height may be off
// when the vehicle has landed (common practice, no source).
const GroundAllowance = 0.30

func readSite(root *table) siteKeys {
	t := root.sub("site")
	if !t.given && !t.wrong {
		root.missing("site", "begin the file with [site], and in it name and local_rules")
	}
	k := siteKeys{
		name:         t.text("name", "", MaxText),
		localRules:   t.text("local_rules", "", MaxText),
		guard:        t.text("guard", defaultGuard, MaxName),
		allowance:    t.number("ground_allowance", GroundAllowance, span{0, 1, "m"}),
		saysEnclosed: t.has("enclosed"),
		enclosed:     t.flag("enclosed", false),
		at:           t.at,
		fellows:      readFellows(t),
	}
	if t.given && !t.has("name") {
		t.missing("name", `name the room or yard, like name = "Workshop hall"`)
	}
	t.localRules()
	switch {
	case t.fine("guard") && !isName(k.guard):
		t.report("guard", "is not usable as a name", nameRule)
	case t.fine("guard") && k.guard == everyone:
		t.report("guard", "stands for every vehicle on the wire", "choose another name")
	}
	t.done()
	return k
}

// MaxFellows is how many guards beside this one a vehicle may need permits of.
const MaxFellows = 7

// readFellows reads the names of the other guards.
func readFellows(t *table) []string {
	names, _ := t.texts("fellows")
	if !t.fine("fellows") {
		return nil
	}
	const next = `name the other guards, each once, like fellows = ["hall-2"], or leave fellows out`
	own, _ := t.m["guard"].(string)
	if own == "" {
		own = defaultGuard
	}
	if len(names) == 0 || len(names) > MaxFellows {
		t.report("fellows", fmt.Sprintf("has %d names, and may have 1 to %d", len(names), MaxFellows), next)
		return nil
	}
	for i, n := range names {
		switch {
		case !isName(n):
			t.report("fellows", fmt.Sprintf("has %q, which is not usable as a name", n), nameRule)
		case n == everyone:
			t.report("fellows", fmt.Sprintf("has %q, which stands for every vehicle on the wire", n), "choose another name")
		case n == own:
			t.report("fellows", fmt.Sprintf("has %q, which is this guard's own name", n), next)
		case slices.Contains(names[:i], n):
			t.report("fellows", fmt.Sprintf("has %q twice", n), next)
		default:
			continue
		}
		return nil
	}
	return names
}

const rulesNext = "write which rules apply here and who checked them; local aviation rules, the site's own rules and a hardware emergency stop come first"

// localRules insists on words somebody thought about.
func (t *table) localRules() {
	if !t.has("local_rules") {
		if t.given {
			t.missing("local_rules", rulesNext)
		}
		return
	}
	text, ok := t.m["local_rules"].(string)
	switch {
	case !ok:
		return // reported already
	case strings.TrimSpace(text) == "":
		t.r.amend(t.at.key("local_rules"), rulesNext)
	case isPlaceholder(text):
		t.report("local_rules", "is a placeholder", rulesNext)
	}
}

// amend replaces the next step of the newest problem at a place.
func (r *reader) amend(at *place, next string) {
	for i := len(r.probs) - 1; i >= 0; i-- {
		if r.probs[i].Line == at.line {
			r.probs[i].Next = next
			return
		}
	}
}

// isPlaceholder says whether a text stands where somebody meant to write one:
// it has fewer than eight letters, or a word that says so.
func isPlaceholder(text string) bool {
	letters := 0
	for _, r := range text {
		if unicode.IsLetter(r) {
			letters++
		}
	}
	if letters < 8 || strings.ContainsAny(text, "<>") {
		return true
	}
	words := strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return !unicode.IsLetter(r) })
	for _, w := range words {
		switch w {
		case "todo", "tbd", "tba", "fixme", "xxx", "placeholder", "changeme", "lorem":
			return true
		}
	}
	switch strings.Join(words, " ") {
	case "local rules", "the local rules", "your local rules", "rules here", "write me", "to be done", "to be decided", "not applicable", "change me", "fill in", "fill me in":
		return true
	}
	return false
}

const nameRule = "use letters, digits, - and _, at most 64 of them, beginning with a letter or digit"

// isName says whether s can be a level of an MQTT topic and a file's name: no
// separator, wildcard, space or control character.
func isName(s string) bool {
	if s == "" || len(s) > MaxName {
		return false
	}
	for i := range len(s) {
		c := s[i]
		alnum := c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9'
		if !alnum && (i == 0 || c != '-' && c != '_') {
			return false
		}
	}
	return true
}
