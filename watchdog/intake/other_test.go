package intake

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"pinfold/watchdog"
	"pinfold/zones"
)

// TestOther: what another guard said comes out of the bytes as it went in, to
// the bit, whatever the numbers.
func TestOther(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := watchdog.OtherReach{Name: rapid.StringN(1, 64, 64).Draw(t, "name"), Known: rapid.Bool().Draw(t, "known"),
			At: time.Duration(rapid.Int64().Draw(t, "at"))}
		for _, v := range sweepNumbers(&in.Sweep) {
			*v = rapid.Float64().Draw(t, "number")
		}
		in.Sweep.Above = math.NaN()
		e := Entry{Kind: uint8(watchdog.EvOther), Payload: Other(&in)}
		ev, err := e.Event()
		if err != nil {
			t.Fatal(err)
		}
		out := ev.Other
		if out.Name != in.Name || out.Known != in.Known || out.At != in.At {
			t.Fatalf("%+v became %+v", in, out)
		}
		for i, v := range sweepNumbers(&out.Sweep) {
			if w := sweepNumbers(&in.Sweep)[i]; math.Float64bits(*v) != math.Float64bits(*w) {
				t.Fatalf("number %d: %v became %v", i, *w, *v)
			}
		}
	})
}

// TestOtherCut: a payload that is not whole is no event.
func TestOtherCut(t *testing.T) {
	whole := Other(&watchdog.OtherReach{Name: "mole", Sweep: zones.Sweep{Radius: 1}})
	for n := range len(whole) - len("mole") + 1 {
		e := Entry{Kind: uint8(watchdog.EvOther), Payload: whole[:n]}
		if _, err := e.Event(); err == nil {
			t.Errorf("%d of %d bytes are taken", n, len(whole))
		}
	}
	whole[0] = 2
	if _, err := (&Entry{Kind: uint8(watchdog.EvOther), Payload: whole}).Event(); err == nil {
		t.Error("an unknown flag is taken")
	}
}
