package config

import (
	"fmt"
	"sort"

	"pinfold/watchdog/pose"
)

// presetWords are the message shapes that need no pointers; see pose.Preset.
func presetWords() []string { return []string{"pinfold", "pose-stamped", "odometry", "xr"} }

// readFields reads [vehicle.pose.fields], JSON pointers (RFC 6901) into the
// tracker's messages. Without it Pinfold's own contract holds; with it, only
// what it names is read, on top of a preset where it names one. axes are those
// the preset's messages usually come in; ok says that there is a preset.
func readFields(parent *table) (f pose.Fields, axes pose.Axes, ok bool) {
	t := parent.sub("fields")
	if !t.given {
		return pose.DefaultFields(), 0, false
	}
	before := len(t.r.probs)
	word := t.word("preset", 0, presetWords()...)
	if ok = t.has("preset"); ok && t.fine("preset") {
		f, axes, _ = pose.Preset(presetWords()[word])
	}
	if t.has("stamp") {
		f.StampNanos = "" // of a stamp that stands elsewhere
	}
	f.CBOR = t.flag("cbor", false)
	pointers := []struct {
		key string
		to  *string
	}{
		{"stamp", &f.Stamp}, {"stamp_nanos", &f.StampNanos}, {"seq", &f.Seq},
		{"roll", &f.Roll}, {"pitch", &f.Pitch}, {"yaw", &f.Yaw},
		{"confidence", &f.Confidence}, {"tracker", &f.Tracker},
	}
	for _, p := range pointers {
		if t.has(p.key) {
			*p.to = t.pointer(p.key)
		}
	}
	units := []string{pose.Seconds.String(), pose.Milliseconds.String(), pose.Microseconds.String(), pose.Nanoseconds.String(), pose.RFC3339.String()}
	f.StampUnit = pose.StampUnit(t.word("stamp_unit", int(f.StampUnit), units...))
	t.group("position", []string{"x", "y", "z"}, &f.X, &f.Y, &f.Z)
	t.group("orientation", []string{"w", "x", "y", "z"}, &f.QW, &f.QX, &f.QY, &f.QZ)
	t.group("velocity", []string{"x", "y", "z"}, &f.VX, &f.VY, &f.VZ)
	f.Degrees = t.flag("degrees", false)
	f.BodyVelocity = t.flag("body_velocity", f.BodyVelocity)
	f.Percent = t.flag("confidence_percent", false)
	f.Words = readWords(t)
	t.done()
	if len(t.r.probs) == before {
		if _, err := pose.NewDecoder(f); err != nil {
			t.r.add(t.at, t.path, "", "do not fit together: "+trimPrefix(err, "pose fields: "), "name stamp, position and orientation (or roll, pitch and yaw), and of the others what the messages hold")
		}
	}
	return f, axes, ok
}

const pointerNext = `write a JSON pointer, like "/pose/position" (RFC 6901)`

// pointer reads a JSON pointer.
func (t *table) pointer(key string) string {
	v := t.text(key, "", MaxText)
	if t.fine(key) && v[0] != '/' {
		t.report(key, "is not a JSON pointer: it must begin with /", pointerNext)
		return ""
	}
	return v
}

// group reads a pointer to an object or list whose members are called parts,
// or a table with a pointer for each.
func (t *table) group(key string, parts []string, to ...*string) {
	if !t.has(key) {
		return
	}
	if _, ok := t.m[key].(map[string]any); !ok {
		base := t.pointer(key)
		for i, p := range parts {
			if base != "" {
				*to[i] = base + "/" + p
			}
		}
		return
	}
	s := t.sub(key)
	for i, p := range parts {
		if *to[i] = s.pointer(p); !s.has(p) {
			s.missing(p, pointerNext)
		}
	}
	s.done()
}

// readWords reads confidence_words, in the order of the alphabet.
func readWords(t *table) (words []pose.Word) {
	s := t.sub("confidence_words")
	for k := range s.m {
		words = append(words, pose.Word{Word: k})
	}
	sort.Slice(words, func(i, j int) bool { return words[i].Word < words[j].Word })
	for i := range words {
		words[i].Value = s.number(words[i].Word, 0, span{0, 1, ""})
	}
	if s.given && len(words) == 0 {
		s.r.add(s.at, s.path, "", "names no word", fmt.Sprintf("write it like %s = {low = 0.2, high = 0.9}", "confidence_words"))
	}
	return words
}
