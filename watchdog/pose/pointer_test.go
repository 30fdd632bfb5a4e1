package pose

import (
	"strings"
	"testing"
)

// fieldsAt are the least fields, with confidence at the given pointer.
func fieldsAt(pointer string) Fields {
	f := Fields{Stamp: "/t", X: "/p/0", Y: "/p/1", Z: "/p/2", QW: "/q/0", QX: "/q/1", QY: "/q/2", QZ: "/q/3"}
	f.Confidence = pointer
	return f
}

const leastBody = `"t":1,"p":[1,2,3],"q":[1,0,0,0]`

// RFC 6901 §5 on its own document, the strings and arrays of it replaced by
// numbers where the pointer must lead to one. Evaluated by a confidence.
func TestPointersOfRFC6901(t *testing.T) {
	const doc = `{` + leastBody + `,"foo":[0.25,0.5],"":0,"a/b":0.1,"c%d":0.2,"e^f":0.3,"g|h":0.4,"i\\j":0.5,"k\"l":0.6," ":0.7,"m~n":0.8,"~1":0.9,"o":{"":0.11}}`
	for pointer, want := range map[string]float64{
		"/foo/0": 0.25, "/foo/1": 0.5, "/": 0, "/a~1b": 0.1, "/c%d": 0.2, "/e^f": 0.3, "/g|h": 0.4,
		"/i\\j": 0.5, "/k\"l": 0.6, "/ ": 0.7, "/m~0n": 0.8, "/~01": 0.9, "/o/": 0.11,
	} {
		d, err := NewDecoder(fieldsAt(pointer))
		if err != nil {
			t.Errorf("%q: %v", pointer, err)
			continue
		}
		var s Sample
		if f := d.Decode([]byte(doc), &s); f != nil {
			t.Errorf("%q: %v", pointer, f)
		} else if !s.HasConfidence || s.Confidence != want {
			t.Errorf("%q: %v, want %v", pointer, s.Confidence, want)
		}
	}
}

// A pointer that leads nowhere is an absent field, never another one.
func TestPointersThatLeadNowhere(t *testing.T) {
	const doc = `{` + leastBody + `,"foo":[0.25,0.5],"bar":{"0":0.3,"01":0.4}}`
	for _, pointer := range []string{"/foo/2", "/foo/-", "/foo/00", "/foo/01", "/Foo/0", "/foo/1e0", "/foo/99999", "/bar/1"} {
		d, err := NewDecoder(fieldsAt(pointer))
		if err != nil {
			t.Errorf("%q: %v", pointer, err)
			continue
		}
		var s Sample
		if f := d.Decode([]byte(doc), &s); f != nil || s.HasConfidence {
			t.Errorf("%q: %v, %+v", pointer, f, s)
		}
	}
	d, err := NewDecoder(fieldsAt("/bar/01"))
	if err != nil {
		t.Fatal(err)
	}
	var s Sample
	if f := d.Decode([]byte(doc), &s); f != nil || s.Confidence != 0.4 {
		t.Errorf("an object's member 01: %v, %v", f, s.Confidence)
	}
}

func TestPointersThatAreRefused(t *testing.T) {
	for pointer, want := range map[string]string{
		"confidence": "must begin with /", "/a~2b": "~ must be written ~0", "/a~": "~ must be written ~0",
		"/p/0": "another field stands there", "/p/0/x": "passes through \"/p/0\"", "/p": "another field stands there",
		"/" + strings.Repeat("x/", 70): "more than 64 steps",
	} {
		if _, err := NewDecoder(fieldsAt(pointer)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q in it", pointer, err, want)
		}
	}
}

func TestFieldsThatAreRefused(t *testing.T) {
	for name, spoil := range map[string]func(*Fields){
		"no pointer for stamp":         func(f *Fields) { f.Stamp = "" },
		"x, y and z need a pointer":    func(f *Fields) { f.Y = "" },
		"3 of 4 are given":             func(f *Fields) { f.QZ = "" },
		"give either a quaternion":     func(f *Fields) { f.QW, f.QX, f.QY, f.QZ = "", "", "", "" },
		"give either a quaternion (w":  func(f *Fields) { f.Roll, f.Pitch, f.Yaw = "/r", "/pi", "/y" },
		"1 of 3 are given":             func(f *Fields) { f.Roll = "/r" },
		"2 of 3 are given":             func(f *Fields) { f.VX, f.VY = "/vx", "/vy" },
		"stamp unit 9":                 func(f *Fields) { f.StampUnit = 9 },
		"a nanosecond part":            func(f *Fields) { f.StampNanos, f.StampUnit = "/n", Milliseconds },
		"either a percentage or words": func(f *Fields) { f.Percent, f.Words = true, []Word{{"high", 1}} },
		"needs a word and a value":     func(f *Fields) { f.Words = []Word{{"", 1}} },
		"value 0..1":                   func(f *Fields) { f.Words = []Word{{"high", 2}} },
		"stands twice":                 func(f *Fields) { f.Words = []Word{{"high", 1}, {"high", 0}} },
	} {
		f := fieldsAt("/c")
		spoil(&f)
		if _, err := NewDecoder(f); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%v, want %q in it", err, name)
		}
	}
}

func TestStampUnitWords(t *testing.T) {
	for u := Seconds; u <= RFC3339; u++ {
		if got, err := ParseStampUnit(u.String()); err != nil || got != u {
			t.Errorf("%v: %v, %v", u, got, err)
		}
	}
	if _, err := ParseStampUnit("unknown"); err == nil {
		t.Error("unknown is taken")
	}
}
