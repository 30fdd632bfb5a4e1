package recording

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"

	"pinfold/watchdog/pose"
)

func decoder(t *testing.T) *pose.Decoder {
	t.Helper()
	d, err := pose.NewDecoder(pose.DefaultFields())
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func same(a, b *pose.Sample) bool {
	bits := func(s *pose.Sample) [13]uint64 {
		f := math.Float64bits
		return [...]uint64{uint64(s.Stamp), s.Seq, f(s.Position.X), f(s.Position.Y), f(s.Position.Z),
			f(s.Orientation.W), f(s.Orientation.X), f(s.Orientation.Y), f(s.Orientation.Z),
			f(s.Velocity.X), f(s.Velocity.Y), f(s.Velocity.Z), f(s.Confidence)}
	}
	return bits(a) == bits(b) && *a == *b
}

func roundTrip(t *testing.T, d *pose.Decoder, s *pose.Sample) {
	t.Helper()
	text := Payload(nil, s)
	if s.Stamp%8 == 0 && !json.Valid(text) { // the decoder is strict itself; some for a second opinion
		t.Fatalf("not JSON: %s", text)
	}
	var back pose.Sample
	if f := d.Decode(text, &back); f != nil {
		t.Fatalf("%v in %s", f, text)
	}
	if !same(s, &back) {
		t.Fatalf("came back different:\n%+v\n%+v\n%s", *s, back, text)
	}
}

func TestPayloadOfPublishedRecordings(t *testing.T) {
	for _, name := range []string{"handheld_room.csv", "drone_spiral.csv", "pair_truth.tum.txt"} {
		t.Run(name, func(t *testing.T) {
			d := decoder(t)
			for i, s := range all(t, open(t, name)) {
				s.Seq, s.HasSeq = uint64(i), true
				roundTrip(t, d, &s)
			}
		})
	}
}

// Random samples over every magnitude a message may hold.
func TestPayloadOfRandomSamples(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	d := decoder(t)
	wide := func(limit float64) float64 {
		if rng.IntN(20) == 0 {
			return math.Copysign(0, rng.Float64()-0.5)
		}
		return limit * (2*rng.Float64() - 1) * math.Pow(10, -20*rng.Float64()*rng.Float64())
	}
	for range 4000 {
		q, ok := pose.FromEuler(wide(3), wide(3), wide(3)).Unit()
		if !ok {
			t.Fatal("not unit")
		}
		s := pose.Sample{Stamp: rng.Int64N(pose.MaxStamp) >> rng.IntN(62), Orientation: q,
			Position: pose.Vec{X: wide(pose.MaxCoordinate), Y: wide(pose.MaxCoordinate), Z: wide(pose.MaxCoordinate)}}
		if rng.IntN(2) == 0 {
			s.HasSeq, s.Seq = true, uint64(rng.Int64())
			s.HasConfidence, s.Confidence = true, rng.Float64()
		}
		if rng.IntN(2) == 0 {
			s.HasVelocity = true
			s.Velocity = pose.Vec{X: wide(pose.MaxSpeed), Y: wide(pose.MaxSpeed), Z: wide(pose.MaxSpeed)}
			s.Tracker = "a\"\\\n é" + string(rune('a'+rng.IntN(26)))
		}
		roundTrip(t, d, &s)
	}
}

func TestPayloadText(t *testing.T) {
	s := pose.Sample{Stamp: 1520530308189679351, Orientation: pose.Quat{W: 1}, Position: pose.Vec{X: 1.5, Z: -2},
		Seq: 7, HasSeq: true, Confidence: 0.5, HasConfidence: true, Velocity: pose.Vec{Y: 1e-7}, HasVelocity: true, Tracker: "t1"}
	const want = `{"stamp":1520530308.189679351,"seq":7,"position":{"x":1.5,"y":0,"z":-2},` +
		`"orientation":{"w":1,"x":0,"y":0,"z":0},"velocity":{"x":0,"y":1e-07,"z":0},"confidence":0.5,"tracker":"t1"}`
	if got := string(Payload([]byte("#"), &s)); got != "#"+want {
		t.Errorf("got  %s\nwant #%s", got, want)
	}
}

// What is no checked sample becomes a message that is refused.
func TestPayloadOfUncheckedSampleIsRefused(t *testing.T) {
	d := decoder(t)
	good := pose.Sample{Stamp: 1, Orientation: pose.Quat{W: 1}}
	for name, spoil := range map[string]func(*pose.Sample){
		"NaN":       func(s *pose.Sample) { s.Position.X = math.NaN() },
		"infinite":  func(s *pose.Sample) { s.Orientation.W = math.Inf(1) },
		"not unit":  func(s *pose.Sample) { s.Orientation.W = 2 },
		"stamp":     func(s *pose.Sample) { s.Stamp = -1 },
		"stamp min": func(s *pose.Sample) { s.Stamp = math.MinInt64 },
		"seq":       func(s *pose.Sample) { s.Seq, s.HasSeq = math.MaxUint64, true },
		"tracker":   func(s *pose.Sample) { s.Tracker = "\xff" },
	} {
		s := good
		spoil(&s)
		var back pose.Sample
		if f := d.Decode(Payload(nil, &s), &back); f == nil {
			t.Errorf("%s: read as %+v", name, back)
		}
	}
}

func BenchmarkPayload(b *testing.B) {
	s := pose.Sample{Stamp: 1520530308189679351, Orientation: pose.Quat{W: 0.6, X: 0.8}, Position: pose.Vec{X: 0.8417820384, Y: -0.2193354118, Z: 1.2499749141}}
	dst := make([]byte, 0, 512)
	b.ReportAllocs()
	for b.Loop() {
		dst = Payload(dst[:0], &s)
	}
}
