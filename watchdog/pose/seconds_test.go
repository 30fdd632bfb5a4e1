package pose

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"
)

// InSeconds is no further from d.Seconds() than it says.
func TestInSeconds(t *testing.T) {
	rng := rand.New(rand.NewPCG(61, 62))
	for range 100_000 {
		d := time.Duration(rng.Int64N(1<<53)) >> rng.IntN(50)
		got, want := InSeconds(d), d.Seconds()
		if off := math.Abs(got - want); off > 2*(math.Nextafter(want, math.Inf(1))-want) {
			t.Fatalf("%v: %v, %v by division", d, got, want)
		}
		if InSeconds(-d) != -got {
			t.Fatalf("%v and its opposite differ", d)
		}
	}
}
