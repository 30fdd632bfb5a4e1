package pose

import (
	"encoding/hex"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/fxamacker/cbor/v2"
)

func unhex(t testing.TB, text string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(text, " ", ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// withC is a CBOR message of the least fields and an item under the key c.
func withC(t testing.TB, item string) []byte {
	return append(unhex(t, "a4 61 74 01 61 70 83 01 02 03 61 71 84 01 00 00 00 61 63"), unhex(t, item)...)
}

func cborDecoder(t testing.TB, set func(*Fields)) *Decoder {
	f := fieldsAt("")
	f.CBOR = true
	set(&f)
	return newDecoder(t, f)
}

// Numbers of RFC 8949, Appendix A, read as a position; those beyond 1e6 m are
// out of range, those that are no numbers not finite.
func TestCBORNumbersOfAppendixA(t *testing.T) {
	for item, want := range map[string]float64{
		"00": 0, "01": 1, "0a": 10, "17": 23, "1818": 24, "1819": 25, "1864": 100, "1903e8": 1000, "1a000f4240": 1000000,
		"20": -1, "29": -10, "3863": -100, "3903e7": -1000,
		"f90000": 0, "f98000": math.Copysign(0, -1), "f93c00": 1, "fb3ff199999999999a": 1.1, "f93e00": 1.5, "f97bff": 65504,
		"fa47c35000": 100000, "f90001": 5.960464477539063e-8, "f90400": 0.00006103515625, "f9c400": -4, "fbc010666666666666": -4.1,
		"c11a514b67b0": math.NaN(), "fa7f7fffff": math.NaN(), "fb7e37e43c8800759c": math.NaN(), "1b000000e8d4a51000": math.NaN(),
		"1bffffffffffffffff": math.NaN(), "3bffffffffffffffff": math.NaN(), // NaN: out of range here
		"f97c00": math.Inf(1), "f97e00": math.Inf(1), "f9fc00": math.Inf(1), "fa7f800000": math.Inf(1), "fa7fc00000": math.Inf(1),
		"fb7ff0000000000000": math.Inf(1), "fb7ff8000000000000": math.Inf(1), "fbfff0000000000000": math.Inf(1), // not finite
	} {
		d := cborDecoder(t, func(f *Fields) { f.Z = "/c" })
		var s Sample
		f := d.Decode(withC(t, item), &s)
		switch {
		case math.IsNaN(want):
			if f == nil || f.Kind != OutOfRange {
				t.Errorf("%s: %v, %v, want out of range", item, f, s.Position.Z)
			}
		case math.IsInf(want, 0):
			if f == nil || f.Kind != NotFinite || f.Field != "/c" {
				t.Errorf("%s: %v, %v, want not finite", item, f, s.Position.Z)
			}
		case f != nil || math.Float64bits(s.Position.Z) != math.Float64bits(want):
			t.Errorf("%s: %v, %v, want %v", item, f, s.Position.Z, want)
		}
	}
}

// Other items of Appendix A: anything well-formed may stand where no pointer
// leads.
func TestCBOROtherItemsOfAppendixA(t *testing.T) {
	for _, item := range []string{
		"f4", "f5", "f6", "f7", "f0", "f8ff", "c074323031332d30332d32315432303a30343a30305a", "c11a514b67b0", "d74401020304",
		"d818456449455446", "c249010000000000000000", "40", "4401020304", "60", "6449455446", "62225c", "62c3bc", "63e6b0b4", "64f0908591",
		"80", "83010203", "8301820203820405", "98190102030405060708090a0b0c0d0e0f101112131415161718181819", "a0", "a201020304",
		"a26161016162820203", "826161a161626163", "5f42010243030405ff", "7f657374726561646d696e67ff", "9fff", "9f018202039f0405ffff",
		"83018202039f0405ff", "bf61610161629f0203ffff", "826161bf61626163ff", "bf6346756ef563416d7421ff",
	} {
		var s Sample
		if f := cborDecoder(t, func(*Fields) {}).Decode(withC(t, item), &s); f != nil {
			t.Errorf("%s: %v", item, f)
		}
		f := cborDecoder(t, func(f *Fields) { f.Confidence = "/c" }).Decode(withC(t, item), &s)
		if item == "c11a514b67b0" && (f == nil || f.Kind != OutOfRange) || item != "c11a514b67b0" && (f == nil || f.Kind != WrongType && f.Kind != Missing) {
			t.Errorf("%s as a confidence: %v, %+v", item, f, s)
		}
	}
}

// Items that are not well-formed, RFC 8949 Appendix F.1 among them.
func TestCBORNotWellFormed(t *testing.T) {
	for _, item := range []string{
		"", "18", "19", "1a", "1b", "1901", "1a0102", "1b01020304050607", "38", "58", "78", "98", "9a01ff00", "b8", "d8", "f8", "f900",
		"fa0000", "fb000000", "41", "61", "5affffffff00", "5bffffffffffffffff010203", "7affffffff00", "7b7fffffffffffffff010203",
		"81", "818181818181818181", "8200", "a1", "a20102", "a100", "a2000000", "5f4100", "7f6100", "9f", "9f0102", "bf", "bf01020102",
		"819f", "9f8000", "9f9f9f9f9fffffffff", "9f819f819f9fffffff", "1c", "1d", "1e", "3c", "5c", "7c", "9c", "bc", "dc", "fc", "fd", "fe",
		"f800", "f801", "f818", "f81f", "5f00ff", "5f21ff", "5f6100ff", "5f80ff", "5fa0ff", "5fc000ff", "5fe0ff", "7f4100ff",
		"5f5f4100ffff", "7f7f6100ffff", "ff", "81ff", "8200ff", "a1ff", "a1ff00", "a100ff", "a20000ff", "9f81ff", "bf00ff", "bf000000ff",
		"1f", "3f", "df", "61ff", "9bffffffffffffffff", "bbffffffffffffffff", "0000",
	} {
		s := Sample{Tracker: "x"}
		if f := cborDecoder(t, func(*Fields) {}).Decode(withC(t, item), &s); f == nil || f.Kind != NotJSON || s != (Sample{}) {
			t.Errorf("%q: %v, %+v", item, f, s)
		}
	}
	deep := strings.Repeat("81", 2*MaxDepth) + "00"
	var s Sample
	if f := cborDecoder(t, func(*Fields) {}).Decode(withC(t, deep), &s); f == nil || f.Kind != TooLarge {
		t.Errorf("deep: %v", f)
	}
}

func TestCBORStrictness(t *testing.T) {
	const body = "61 74 01 61 70 83 01 02 03 61 71 84 01 00 00 00"
	for _, c := range []struct {
		name, text string
		kind       FaultKind
		field      string
	}{
		{"duplicate", "a4" + body + "61 74 02", Duplicate, "/t"},
		{"duplicate, in parts", "a4" + body + "7f 61 74 ff 02", Duplicate, "/t"},
		{"wrong case", "a3 61 54 01 61 70 83 01 02 03 61 71 84 01 00 00 00", Missing, "/t"},
		{"null", "a3 61 74 f6 61 70 83 01 02 03 61 71 84 01 00 00 00", Missing, "/t"},
		{"undefined", "a3 61 74 f7 61 70 83 01 02 03 61 71 84 01 00 00 00", Missing, "/t"},
		{"short array", "a3 61 74 01 61 70 82 01 02 61 71 84 01 00 00 00", Missing, "/p/2"},
		{"text", "a3 61 74 61 31 61 70 83 01 02 03 61 71 84 01 00 00 00", WrongType, "/t"},
		{"bytes", "a3 61 74 41 31 61 70 83 01 02 03 61 71 84 01 00 00 00", WrongType, "/t"},
		{"true", "a3 61 74 f5 61 70 83 01 02 03 61 71 84 01 00 00 00", WrongType, "/t"},
		{"array", "a3 61 74 80 61 70 83 01 02 03 61 71 84 01 00 00 00", WrongType, "/t"},
		{"number for array", "a3 61 74 01 61 70 05 61 71 84 01 00 00 00", WrongType, "/p"},
		{"negative stamp", "a3 61 74 20 61 70 83 01 02 03 61 71 84 01 00 00 00", OutOfRange, "/t"},
		{"not unit", "a3 61 74 01 61 70 83 01 02 03 61 71 84 02 00 00 00", NotUnit, "/q/0"},
		{"bytes as key", "a3 41 74 01 61 70 83 01 02 03 61 71 84 01 00 00 00", Missing, "/t"},
		{"JSON", hex.EncodeToString([]byte(fullMessage)), NotJSON, ""},
		{"number", "05", WrongType, ""},
		{"empty", "", NotJSON, ""},
	} {
		var s Sample
		f := cborDecoder(t, func(*Fields) {}).Decode(unhex(t, c.text), &s)
		if f == nil || f.Kind != c.kind || f.Field != c.field {
			t.Errorf("%s: %v, want %v at %q", c.name, f, c.kind, c.field)
		}
	}
}

// A covariance that is not known is NaN in many a message, and nothing to us.
func TestCBORElsewhereMayBeNaN(t *testing.T) {
	for _, item := range []string{"f9 7e 00", "fa 7f 80 00 00", "83 fb 7f f8 00 00 00 00 00 00 01 02"} {
		var s Sample
		text := "a4 61 63" + item + "61 74 01 61 70 83 01 02 03 61 71 84 01 00 00 00"
		if f := cborDecoder(t, func(*Fields) {}).Decode(unhex(t, text), &s); f != nil || s.Position != (Vec{1, 2, 3}) {
			t.Errorf("%s: %v, %+v", item, f, s)
		}
	}
}

type cborMessage struct {
	Stamp       any                `cbor:"stamp"`
	Seq         uint64             `cbor:"seq"`
	Position    map[string]float64 `cbor:"position"`
	Orientation map[string]float64 `cbor:"orientation"`
	Velocity    map[string]float64 `cbor:"velocity,omitempty"`
	Confidence  float64            `cbor:"confidence"`
	Tracker     string             `cbor:"tracker"`
}

// Messages written by another library, in each of its float encodings, come
// back as what went in.
func TestCBORAgainstOtherLibrary(t *testing.T) {
	short, err := cbor.EncOptions{ShortestFloat: cbor.ShortestFloat16, Sort: cbor.SortCanonical}.EncMode()
	if err != nil {
		t.Fatal(err)
	}
	long, err := cbor.EncOptions{}.EncMode()
	if err != nil {
		t.Fatal(err)
	}
	f := DefaultFields()
	f.CBOR = true
	d := newDecoder(t, f)
	rng := rand.New(rand.NewPCG(61, 62))
	for i := range 2000 {
		q, _ := randomQuat(rng).Unit()
		p := randomVec(rng)
		if i%2 == 0 {
			p = Vec{float64(float32(p.X)), math.Round(p.Y), 0.5}
		}
		want := Sample{Stamp: 1520530308189679000, Seq: uint64(rng.Int64()), HasSeq: true, Position: p, Orientation: q,
			Velocity: p, HasVelocity: true, Confidence: 0.25, HasConfidence: true, Tracker: "cam"}
		xyz := map[string]float64{"x": p.X, "y": p.Y, "z": p.Z}
		m := cborMessage{1520530308.189679, want.Seq, xyz, map[string]float64{"w": q.W, "x": q.X, "y": q.Y, "z": q.Z}, xyz, 0.25, "cam"}
		if i%3 == 0 {
			m.Stamp, want.Stamp = 7, 7000000000
		}
		mode := long
		if i%5 == 0 {
			mode = short
		}
		text, err := mode.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		var s Sample
		if f := d.Decode(text, &s); f != nil || s != want {
			t.Fatalf("%v\ngot  %+v\nwant %+v", f, s, want)
		}
	}
}

func cborFull(t testing.TB) []byte {
	xyz := map[string]float64{"x": 1.1, "y": 2.2, "z": 3.3}
	text, err := cbor.Marshal(cborMessage{1520530308.189679, 7, xyz, map[string]float64{"w": 0.8, "x": 0, "y": 0.6, "z": 0}, xyz, 0.75, "cam"})
	if err != nil {
		t.Fatal(err)
	}
	return text
}

func TestCBORDoesNotAllocate(t *testing.T) {
	f := DefaultFields()
	f.CBOR = true
	d, text := newDecoder(t, f), cborFull(t)
	var s Sample
	if n := testing.AllocsPerRun(1000, func() {
		if f := d.Decode(text, &s); f != nil {
			t.Fatal(f)
		}
	}); n != 0 {
		t.Errorf("%v allocations a message", n)
	}
	for i := range text {
		if f := d.Decode(text[:i], &s); f == nil || f.Kind != NotJSON {
			t.Errorf("cut to %d bytes: %v", i, f)
		}
	}
}

// FuzzCBOR: what is taken is well-formed by another library's reading too, and
// a possible pose.
func FuzzCBOR(f *testing.F) {
	fields := DefaultFields()
	fields.CBOR = true
	d, err := NewDecoder(fields)
	if err != nil {
		f.Fatal(err)
	}
	other, err := cbor.DecOptions{MaxNestedLevels: 4 * MaxDepth}.DecMode()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(cborFull(f))
	f.Add([]byte{0xbf, 0x65, 's', 't', 'a', 'm', 'p', 0xf9, 0x7e, 0, 0xff})
	f.Fuzz(func(t *testing.T, payload []byte) {
		var s Sample
		if fault := d.Decode(payload, &s); fault != nil {
			if fault.Kind == 0 || s != (Sample{}) {
				t.Fatalf("%v, %+v", fault, s)
			}
			return
		}
		if err := other.Wellformed(payload); err != nil {
			t.Fatalf("taken, but %v: %x", err, payload)
		}
		if g := checkSample(&s); g != nil {
			t.Fatalf("taken, but %v: %x", g, payload)
		}
	})
}
