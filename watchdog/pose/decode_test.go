package pose

import (
	"encoding/json"
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
	"time"
)

// fullMessage is a message of Pinfold's own contract with everything in it.
const fullMessage = `{"stamp":1520530308.189679351,"seq":7,"position":{"x":0.8417820384,"y":-0.2193354118,"z":1.2499749141},` +
	`"orientation":{"w":0.8,"x":0,"y":0.6,"z":0},"velocity":{"x":1.5,"y":-0.25,"z":1e-3},"confidence":0.75,"tracker":"cam-1"}`

func newDecoder(t testing.TB, f Fields) *Decoder {
	t.Helper()
	d, err := NewDecoder(f)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func TestDecodeFullMessage(t *testing.T) {
	var s Sample
	if f := newDecoder(t, DefaultFields()).Decode([]byte(fullMessage), &s); f != nil {
		t.Fatal(f)
	}
	if s != fullSample() {
		t.Errorf("got %+v\nwant %+v", s, fullSample())
	}
}

// fullSample is what fullMessage says.
func fullSample() Sample {
	return Sample{Stamp: 1520530308189679351, Seq: 7, HasSeq: true, Position: Vec{0.8417820384, -0.2193354118, 1.2499749141},
		Orientation: Quat{W: 0.8, Y: 0.6}, Velocity: Vec{1.5, -0.25, 1e-3}, HasVelocity: true,
		Confidence: 0.75, HasConfidence: true, Tracker: "cam-1"}
}

func TestDecodeLeastMessage(t *testing.T) {
	d := newDecoder(t, DefaultFields())
	s := Sample{Confidence: 1, HasVelocity: true, Tracker: "old"}
	// Members nobody asked for may be anything that is JSON, also twice.
	const text = " {\"more\":[{\"a\":[]},null,true,\"\\u00e9\\ud83d\\ude00\",-0.5E+2],\"more\":{},\"stamp\":0,\r\n\t" +
		`"position":{"z":3,"y":2,"x":1,"w":null},"orientation":{"z":0,"w":-1,"x":0,"y":0}} `
	if f := d.Decode([]byte(text), &s); f != nil {
		t.Fatal(f)
	}
	if want := (Sample{Position: Vec{1, 2, 3}, Orientation: Quat{W: -1}}); s != want {
		t.Errorf("got %+v", s)
	}
}

// A good message leaves nothing in the decoder for the next to lean on.
func TestDecodeKeepsNothing(t *testing.T) {
	d := newDecoder(t, DefaultFields())
	var s Sample
	for _, cut := range []string{`"stamp":1520530308.189679351,`, `"z":1.2499749141`, `"w":0.8,`} {
		if f := d.Decode([]byte(fullMessage), &s); f != nil {
			t.Fatal(f)
		}
		spare := `"spare":0`
		if strings.HasSuffix(cut, ",") {
			spare += ","
		}
		if f := d.Decode([]byte(strings.Replace(fullMessage, cut, spare, 1)), &s); f == nil || f.Kind != Missing {
			t.Errorf("without %s: %v", cut, f)
		}
		if s != (Sample{}) {
			t.Errorf("a refused message leaves %+v", s)
		}
	}
}

func TestStrictness(t *testing.T) {
	swap := func(old, with string) string {
		if strings.Count(fullMessage, old) != 1 {
			t.Fatalf("%q does not stand once in the message", old)
		}
		return strings.Replace(fullMessage, old, with, 1)
	}
	const seq, vx, conf, px = `"seq":7`, `"x":1.5`, `"confidence":0.75`, `"x":0.8417820384`
	for _, c := range []struct {
		name, text string
		kind       FaultKind
		field      string
	}{
		{"empty", "", NotJSON, ""},
		{"white space", " \n", NotJSON, ""},
		{"text", "hello", NotJSON, ""},
		{"null", "null", Missing, ""},
		{"number", "5", WrongType, ""},
		{"array", "[]", Missing, "/position/x"},
		{"empty object", "{}", Missing, "/position/x"},
		{"two values", fullMessage + "{}", NotJSON, ""},
		{"NUL after", fullMessage + "\x00", NotJSON, ""},
		{"comment", "/* */" + fullMessage, NotJSON, ""},
		{"trailing comma", swap(`"tracker":"cam-1"}`, `"tracker":"cam-1",}`), NotJSON, ""},
		{"single quotes", swap(`"seq"`, `'seq'`), NotJSON, ""},
		{"no colon", swap(seq, `"seq" 7`), NotJSON, ""},
		{"missing position", swap(`"position"`, `"pos"`), Missing, "/position/x"},
		{"missing y", swap(`"y":-0.2193354118,`, ""), Missing, "/position/y"},
		{"missing stamp", swap(`"stamp"`, `"time"`), Missing, "/stamp"},
		{"wrong case", swap(`"stamp"`, `"Stamp"`), Missing, "/stamp"},
		{"wrong case inside", swap(`"w"`, `"W"`), Missing, "/orientation/w"},
		{"null x", swap(px, `"x":null`), Missing, "/position/x"},
		{"null position", `{"stamp":1,"position":null}`, Missing, "/position"},
		{"null optional", swap(conf, `"confidence":null`), Missing, "/confidence"},
		{"null velocity", swap(vx, `"x":null`), Missing, "/velocity/x"},
		{"part velocity", swap(`"x":1.5,`, ""), Missing, "/velocity/x"},
		{"duplicate stamp", swap(seq, `"stamp":1`), Duplicate, "/stamp"},
		{"duplicate, same value", swap(seq, `"seq":7,"seq":7`), Duplicate, "/seq"},
		{"duplicate, escaped", swap(seq, `"seq":7,"s\u0065q":8`), Duplicate, "/seq"},
		{"duplicate object", swap(seq, `"position":{}`), Duplicate, "/position"},
		{"duplicate inside", swap(px, `"x":1,"x":2`), Duplicate, "/position/x"},
		{"1e309", swap(px, `"x":1e309`), NotFinite, "/position/x"},
		{"-1e400", swap(px, `"x":-1e400`), NotFinite, "/position/x"},
		{"1e309 stamp", swap("1520530308.189679351", "1e309"), OutOfRange, "/stamp"},
		{"huge exponent", swap(px, `"x":1e99999999999999999999`), NotFinite, "/position/x"},
		{"NaN", swap(px, `"x":NaN`), NotFinite, "/position/x"},
		{"nan", swap(px, `"x":nan`), NotFinite, "/position/x"},
		{"-Infinity", swap(px, `"x":-Infinity`), NotFinite, "/position/x"},
		{"NaN nobody asked for", swap(seq, `"other":NaN`), NotFinite, ""},
		{"quoted NaN", swap(px, `"x":"NaN"`), WrongType, "/position/x"},
		{"quoted number", swap(px, `"x":"1.0"`), WrongType, "/position/x"},
		{"true", swap(px, `"x":true`), WrongType, "/position/x"},
		{"array for x", swap(px, `"x":[1]`), WrongType, "/position/x"},
		{"object for x", swap(px, `"x":{}`), WrongType, "/position/x"},
		{"number for position", `{"stamp":1,"position":5}`, WrongType, "/position"},
		{"text for position", `{"stamp":1,"position":"5"}`, WrongType, "/position"},
		{"text for stamp", swap("1520530308.189679351", `"1520530308"`), WrongType, "/stamp"},
		{"leading zero", swap(px, `"x":01`), NotJSON, ""},
		{"plus", swap(px, `"x":+1`), NotJSON, ""},
		{"bare point", swap(px, `"x":.5`), NotJSON, ""},
		{"point at end", swap(px, `"x":5.`), NotJSON, ""},
		{"bare exponent", swap(px, `"x":5e`), NotJSON, ""},
		{"hexadecimal", swap(px, `"x":0x10`), NotJSON, ""},
		{"bare minus", swap(px, `"x":-`), NotJSON, ""},
		{"negative stamp", swap("1520530308.189679351", "-1"), OutOfRange, "/stamp"},
		{"stamp beyond int64", swap("1520530308.189679351", "9223372036.854775808"), OutOfRange, "/stamp"},
		{"negative seq", swap(seq, `"seq":-1`), OutOfRange, "/seq"},
		{"fraction of seq", swap(seq, `"seq":7.5`), OutOfRange, "/seq"},
		{"far away", swap(px, `"x":1000001`), OutOfRange, "/position/x"},
		{"too fast", swap(vx, `"x":-10001`), OutOfRange, "/velocity/x"},
		{"confidence over 1", swap(conf, `"confidence":1.0000001`), OutOfRange, "/confidence"},
		{"confidence below 0", swap(conf, `"confidence":-0.1`), OutOfRange, "/confidence"},
		{"confidence as word", swap(conf, `"confidence":"high"`), WrongType, "/confidence"},
		{"zero quaternion", swap(`"w":0.8,"x":0,"y":0.6`, `"w":0,"x":0,"y":0`), NotUnit, "/orientation/w"},
		{"long quaternion", swap(`"w":0.8`, `"w":0.82`), NotUnit, "/orientation/w"},
		{"huge quaternion", swap(`"w":0.8`, `"w":1e300`), NotUnit, "/orientation/w"},
		{"empty tracker", swap(`"cam-1"`, `""`), OutOfRange, "/tracker"},
		{"long tracker", swap(`"cam-1"`, `"`+strings.Repeat("x", MaxTrackerID+1)+`"`), OutOfRange, "/tracker"},
		{"fraction as tracker", swap(`"cam-1"`, `1.5`), OutOfRange, "/tracker"},
		{"broken UTF-8", swap("cam-1", "\xff"), NotJSON, ""},
		{"broken UTF-8 key", swap(`"seq"`, "\"\xc3\""), NotJSON, ""},
		{"half a surrogate", swap("cam-1", `\ud83d`), NotJSON, ""},
		{"two high surrogates", swap("cam-1", `\ud83d\ud83d`), NotJSON, ""},
		{"bad escape", swap("cam-1", `\x41`), NotJSON, ""},
		{"bad hex", swap("cam-1", `\u00g1`), NotJSON, ""},
		{"line break in text", swap("cam-1", "a\nb"), NotJSON, ""},
		{"10 MB", strings.Repeat(" ", 10<<20) + fullMessage, TooLarge, ""},
		{"a byte too many", fullMessage + strings.Repeat(" ", MaxPayload+1-len(fullMessage)), TooLarge, ""},
		{"deep", `{"a":` + strings.Repeat("[", 5000) + strings.Repeat("]", 5000) + "}", TooLarge, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := Sample{Tracker: "untouched?"}
			f := newDecoder(t, DefaultFields()).Decode([]byte(c.text), &s)
			if f == nil {
				t.Fatalf("read as %+v", s)
			}
			if f.Kind != c.kind || f.Field != c.field {
				t.Errorf("got %v (%v), want %v at %q", f, f.Kind, c.kind, c.field)
			}
			if s != (Sample{}) {
				t.Errorf("left %+v behind", s)
			}
			if len(f.Error()) > 300 || strings.ContainsAny(f.Error(), "\n\r\x00\x1b") {
				t.Errorf("fault is long or not printable: %q", f.Error())
			}
		})
	}
}

// Every front of a message is refused.
func TestTruncated(t *testing.T) {
	d := newDecoder(t, DefaultFields())
	var s Sample
	for i := range len(fullMessage) {
		if f := d.Decode([]byte(fullMessage[:i]), &s); f == nil || f.Kind != NotJSON {
			t.Errorf("cut to %d bytes: %v", i, f)
		}
	}
}

func TestLongestAndDeepest(t *testing.T) {
	d := newDecoder(t, DefaultFields())
	var s Sample
	text := fullMessage + strings.Repeat(" ", MaxPayload-len(fullMessage))
	if f := d.Decode([]byte(text), &s); f != nil {
		t.Errorf("%d bytes: %v", len(text), f)
	}
	for _, c := range []struct {
		levels int
		ok     bool
	}{{MaxDepth - 1, true}, {MaxDepth, false}} {
		nest := strings.Repeat("[", c.levels) + strings.Repeat("]", c.levels)
		f := d.Decode([]byte(strings.Replace(fullMessage, `"seq":7`, `"a":`+nest, 1)), &s)
		if (f == nil) != c.ok {
			t.Errorf("%d levels more: %v", c.levels, f)
		}
	}
}

// Numbers: the decoder's own conversion against strconv, bit for bit.
func TestNumbersAgainstStrconv(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	check := func(text string) {
		t.Helper()
		want, err := strconv.ParseFloat(text, 64)
		n, size := scanNumber([]byte(text))
		got, ok := n.float()
		if size != len(text) || ok != (err == nil) || ok && math.Float64bits(got) != math.Float64bits(want) {
			t.Fatalf("%s: got %v (%v, %d bytes), want %v (%v)", text, got, ok, size, want, err)
		}
	}
	for _, text := range []string{"0", "-0", "0.0", "9007199254740993", "1e22", "1e23", "1e-22", "1e-23", "5e-324", "2e-324",
		"1.7976931348623157e308", "1.7976931348623159e308", "123456789012345678901234567890", "0.00000000000000000000000001234",
		"0.1000000000000000055511151231257827021181583404541015625", "1e400", "1E+5", "10000000000000000000000e-22"} {
		check(text)
	}
	for range 10000 {
		f := math.Float64frombits(rng.Uint64())
		if !finite(f) {
			continue
		}
		check(strconv.FormatFloat(f, 'e', rng.IntN(20), 64))
		check(strconv.FormatFloat(rng.NormFloat64(), 'f', rng.IntN(20), 64))
		check(strconv.FormatFloat(rng.NormFloat64(), 'g', -1, 64))
	}
}

// Stamps of every unit against math/big: exact, and cut off below 1 ns.
func TestStampsAgainstBig(t *testing.T) {
	rng := rand.New(rand.NewPCG(13, 14))
	for range 5000 {
		unit := StampUnit(rng.IntN(4))
		text := fmt.Sprintf("%d.%0*d", rng.Int64()>>rng.IntN(63), 1+rng.IntN(14), rng.IntN(10))
		if rng.IntN(3) == 0 {
			text += fmt.Sprintf("e%d", rng.IntN(8)-4)
		}
		exact, _ := new(big.Rat).SetString(text)
		exact.Mul(exact, new(big.Rat).SetInt(new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(9-3*int(unit))), nil)))
		want := new(big.Int).Quo(exact.Num(), exact.Denom())
		got, ok := ParseStamp([]byte(text), unit)
		// Numbers of more than 19 digits may be refused where they could be
		// held; they are never read wrong.
		if ok && (!want.IsInt64() || want.Int64() != got) {
			t.Fatalf("%s %v: %d, want %v", text, unit, got, want)
		}
		if !ok && want.IsInt64() && len(text) < 19 {
			t.Fatalf("%s %v: refused, want %v", text, unit, want)
		}
	}
	for _, text := range []string{"", " 1", "1 ", "+1", "-1", "NaN", "1e", "0x1"} {
		if _, ok := ParseStamp([]byte(text), Seconds); ok {
			t.Errorf("%q is taken", text)
		}
	}
	if _, ok := ParseStamp([]byte("1"), RFC3339); ok {
		t.Error("a number is taken for RFC 3339")
	}
}

// Open message shapes: a stamped pose with a nanosecond pair and an odometry
// message, as the robotics middleware's public message definitions (std_msgs,
// geometry_msgs, nav_msgs) have them, from memory; and a y-up runtime's.
func TestOpenShapes(t *testing.T) {
	const tail = `"pose":{"position":{"x":1.0,"y":2.0,"z":3.0},"orientation":{"x":0.0,"y":0.6,"z":0.0,"w":0.8}}`
	stamped := `{"header":{"seq":1,"stamp":{"sec":12,"nanosec":5},"frame_id":"odom"},` + tail + `}`
	odometry := `{"header":{"stamp":{"sec":12,"nanosec":5}},"child_frame_id":"base","pose":{` + tail + `,"covariance":[0,0]},` +
		`"twist":{"twist":{"linear":{"x":1.0,"y":0.0,"z":0.0},"angular":{"x":0,"y":0,"z":0}},"covariance":[]}}`
	preset := func(name string) Fields {
		f, _, err := Preset(name)
		if err != nil {
			t.Fatal(err)
		}
		return f
	}
	const xr = `{"time":12000000005,"position":{"x":1,"y":2,"z":3},"orientation":{"x":0,"y":0.6,"z":0,"w":0.8},"linearVelocity":{"x":1,"y":2,"z":3}}`
	runtime := Fields{Stamp: "/time", StampUnit: Nanoseconds, X: "/p/0", Y: "/p/1", Z: "/p/2",
		QX: "/q/0", QY: "/q/1", QZ: "/q/2", QW: "/q/3", Confidence: "/state", Words: []Word{{"tracking", 1}, {"inferred", 0.2}}}

	q := Quat{W: 0.8, Y: 0.6}
	want := Sample{Stamp: 12000000005, Position: Vec{1, 2, 3}, Orientation: q}
	wantOdom := want
	wantOdom.Velocity, wantOdom.HasVelocity = q.Rotate(Vec{X: 1}), true
	wantXR := want
	wantXR.Velocity, wantXR.HasVelocity = Vec{1, 2, 3}, true
	wantRuntime := want
	wantRuntime.Confidence, wantRuntime.HasConfidence = 0.2, true
	for _, c := range []struct {
		name, text string
		fields     Fields
		want       Sample
	}{
		{"own", fullMessage, preset("pinfold"), fullSample()},
		{"stamped", stamped, preset("pose-stamped"), want},
		{"odometry", odometry, preset("odometry"), wantOdom},
		{"xr", xr, preset("xr"), wantXR},
		{"runtime", `{"time":12000000005,"p":[1,2,3],"q":[0,0.6,0,0.8],"state":"inferred"}`, runtime, wantRuntime},
	} {
		var s Sample
		if f := newDecoder(t, c.fields).Decode([]byte(c.text), &s); f != nil || s != c.want {
			t.Errorf("%s: %v\ngot  %+v\nwant %+v", c.name, f, s, c.want)
		}
	}
}

func TestUnknownPreset(t *testing.T) {
	if _, _, err := Preset("Pinfold"); err == nil || !strings.Contains(err.Error(), presetNames) {
		t.Errorf("%v", err)
	}
	if _, axes, _ := Preset("xr"); axes != YUp {
		t.Errorf("xr has axes %v", axes)
	}
}

func TestOtherWays(t *testing.T) {
	base := fieldsAt("")
	for _, c := range []struct {
		name  string
		set   func(*Fields)
		text  string
		check func(*Sample) bool
		kind  FaultKind
	}{
		{"ms", func(f *Fields) { f.StampUnit = Milliseconds }, `"t":1.5`, func(s *Sample) bool { return s.Stamp == 1500000 }, 0},
		{"us", func(f *Fields) { f.StampUnit = Microseconds }, `"t":2e3`, func(s *Sample) bool { return s.Stamp == 2000000 }, 0},
		// RFC 3339 §5.8's example, 851042397 s after 1970.
		{"rfc3339", func(f *Fields) { f.StampUnit = RFC3339 }, `"t":"1996-12-19T16:39:57-08:00"`, func(s *Sample) bool { return s.Stamp == 851042397e9 }, 0},
		{"rfc3339 fraction", func(f *Fields) { f.StampUnit = RFC3339 }, `"t":"1996-12-20T00:39:57.000000001Z"`, func(s *Sample) bool { return s.Stamp == 851042397e9+1 }, 0},
		{"rfc3339 number", func(f *Fields) { f.StampUnit = RFC3339 }, `"t":1`, nil, WrongType},
		{"rfc3339 date", func(f *Fields) { f.StampUnit = RFC3339 }, `"t":"1996-12-19"`, nil, OutOfRange},
		{"rfc3339 before 1970", func(f *Fields) { f.StampUnit = RFC3339 }, `"t":"1969-12-19T16:39:57Z"`, nil, OutOfRange},
		{"rfc3339 comma", func(f *Fields) { f.StampUnit = RFC3339 }, `"t":"1996-12-20T00:39:57,5Z"`, nil, OutOfRange},
		{"rfc3339 hour of one digit", func(f *Fields) { f.StampUnit = RFC3339 }, `"t":"1996-12-20T0:39:57Z"`, nil, OutOfRange},
		{"rfc3339 offset of a day", func(f *Fields) { f.StampUnit = RFC3339 }, `"t":"1996-12-20T00:39:57+24:00"`, nil, OutOfRange},
		{"rfc3339 offset of 60 minutes", func(f *Fields) { f.StampUnit = RFC3339 }, `"t":"1996-12-20T00:39:57-01:60"`, nil, OutOfRange},
		{"rfc3339 leap second", func(f *Fields) { f.StampUnit = RFC3339 }, `"t":"1990-12-31T23:59:60Z"`, nil, OutOfRange},
		{"rfc3339 no offset", func(f *Fields) { f.StampUnit = RFC3339 }, `"t":"1996-12-20T00:39:57"`, nil, OutOfRange},
		{"rfc3339 offset", func(f *Fields) { f.StampUnit = RFC3339 }, `"t":"1937-01-01T12:00:27.87+00:20"`, nil, OutOfRange}, // RFC 3339 §5.8, before 1970
		{"rfc3339 year 2262", func(f *Fields) { f.StampUnit = RFC3339 }, `"t":"2262-12-19T16:39:57Z"`, nil, OutOfRange},
		{"pair", func(f *Fields) { f.StampNanos = "/n" }, `"t":3,"n":999999999`, func(s *Sample) bool { return s.Stamp == 3999999999 }, 0},
		{"pair, half", func(f *Fields) { f.StampNanos = "/n" }, `"t":3`, nil, Missing},
		{"pair, fraction", func(f *Fields) { f.StampNanos = "/n" }, `"t":3.5,"n":1`, nil, OutOfRange},
		{"pair, too many ns", func(f *Fields) { f.StampNanos = "/n" }, `"t":3,"n":1000000000`, nil, OutOfRange},
		{"pair, negative ns", func(f *Fields) { f.StampNanos = "/n" }, `"t":3,"n":-1`, nil, OutOfRange},
		{"pair, sum", func(f *Fields) { f.StampNanos = "/n" }, `"t":9223372036,"n":999999999`, nil, OutOfRange},
		{"percent", func(f *Fields) { f.Confidence, f.Percent = "/c", true }, `"t":1,"c":50`, func(s *Sample) bool { return s.Confidence == 0.5 }, 0},
		{"percent over 100", func(f *Fields) { f.Confidence, f.Percent = "/c", true }, `"t":1,"c":101`, nil, OutOfRange},
		{"unknown word", func(f *Fields) { f.Confidence, f.Words = "/c", []Word{{"good", 1}} }, `"t":1,"c":"Good"`, nil, OutOfRange},
		{"tracker number", func(f *Fields) { f.Tracker = "/id" }, `"t":1,"id":42`, func(s *Sample) bool { return s.Tracker == "42" }, 0},
	} {
		f := base
		c.set(&f)
		var s Sample
		fault := newDecoder(t, f).Decode([]byte(`{"p":[1,2,3],"q":[1,0,0,0],`+c.text+`}`), &s)
		switch {
		case c.check == nil && (fault == nil || fault.Kind != c.kind):
			t.Errorf("%s: %v, want %v", c.name, fault, c.kind)
		case c.check != nil && (fault != nil || !c.check(&s)):
			t.Errorf("%s: %v, %+v", c.name, fault, s)
		}
	}
}

func TestEulerAttitude(t *testing.T) {
	f := Fields{Stamp: "/t", X: "/x", Y: "/y", Z: "/z", Roll: "/r", Pitch: "/p", Yaw: "/h", Degrees: true}
	var s Sample
	if fault := newDecoder(t, f).Decode([]byte(`{"t":1,"x":0,"y":0,"z":0,"r":10,"p":20,"h":30}`), &s); fault != nil {
		t.Fatal(fault)
	}
	nearRotation(t, "attitude", s.Orientation, Quat{0.951548525, 0.038134576, 0.189307857, 0.239298338}, 3e-9)
	f.Degrees = false
	if fault := newDecoder(t, f).Decode([]byte(`{"t":1,"x":0,"y":0,"z":0,"r":0,"p":0,"h":1.5}`), &s); fault != nil {
		t.Fatal(fault)
	}
	near(t, "yaw", s.Orientation.Yaw(), 1.5, 1e-15)
}

func TestDecodeDoesNotAllocate(t *testing.T) {
	d := newDecoder(t, DefaultFields())
	text := []byte(fullMessage)
	var s Sample
	if n := testing.AllocsPerRun(1000, func() {
		if f := d.Decode(text, &s); f != nil {
			t.Fatal(f)
		}
	}); n != 0 {
		t.Errorf("%v allocations a message", n)
	}
}

// The same message read by encoding/json into a struct with the same names,
// which neither sees duplicates, nor absence, nor null.
type plainMessage struct {
	Stamp       json.Number                  `json:"stamp"`
	Seq         uint64                       `json:"seq"`
	Position    struct{ X, Y, Z float64 }    `json:"position"`
	Orientation struct{ W, X, Y, Z float64 } `json:"orientation"`
	Velocity    struct{ X, Y, Z float64 }    `json:"velocity"`
	Confidence  float64                      `json:"confidence"`
	Tracker     string                       `json:"tracker"`
}

// BenchmarkDecode reports the time of Decode as a share of encoding/json's on
// the same message, measured in turns within one run.
func BenchmarkDecode(b *testing.B) {
	d := newDecoder(b, DefaultFields())
	text := []byte(fullMessage)
	var s Sample
	var m plainMessage
	var ours, plain time.Duration
	const turn = 200
	for b.Loop() {
		t0 := time.Now()
		for range turn {
			if f := d.Decode(text, &s); f != nil {
				b.Fatal(f)
			}
		}
		t1 := time.Now()
		for range turn {
			if err := json.Unmarshal(text, &m); err != nil {
				b.Fatal(err)
			}
		}
		ours += t1.Sub(t0)
		plain += time.Since(t1)
	}
	b.ReportMetric(float64(ours)/float64(plain), "of-encoding/json")
	b.ReportMetric(float64(ours.Nanoseconds())/float64(b.N*turn), "ns/message")
	b.ReportMetric(0, "ns/op")
}

// FuzzDecode: whatever the bytes, a message is either refused with a fault that
// names a kind, or is JSON by encoding/json's reading too, and a possible pose.
func FuzzDecode(f *testing.F) {
	for _, text := range []string{fullMessage, fullMessage[:99], "{}", "[1]", `{"stamp":1e309}`, `{"position":{"x":NaN}}`,
		strings.Replace(fullMessage, "cam-1", `\ud83d\ude00`, 1), `{"stamp":1,"stamp":2}`} {
		f.Add([]byte(text))
	}
	d, err := NewDecoder(DefaultFields())
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, payload []byte) {
		var s Sample
		fault := d.Decode(payload, &s)
		if fault != nil {
			if fault.Kind == 0 || int(fault.Kind) > FaultKinds || fault.Kind.String() == "unknown" || s != (Sample{}) {
				t.Fatalf("%v, %+v", fault, s)
			}
			return
		}
		if !json.Valid(payload) {
			t.Fatalf("taken, but not JSON: %q", payload)
		}
		if g := checkSample(&s); g != nil {
			t.Fatalf("taken, but %v: %q", g, payload)
		}
	})
}
