package zones

import (
	"sync"
	"testing"
)

// TestManyReadersOneSet: a Set is only read once it is made, so that as many
// goroutines as one likes may ask it, each with a Last of its own. The race
// detector looks on in CI; the answers are compared in every run.
func TestManyReadersOneSet(t *testing.T) {
	r := rng(77)
	set, err := New([]Shape{
		{Name: "pen", Kind: KeepIn, Rings: [][]XY{star(r, 0, 0, 40, 60, 40)}, Floor: 0, Ceiling: 5},
		{Name: "post", Kind: KeepOut, Rings: [][]XY{star(r, 5, 5, 1, 3, 12)}, Floor: 0, Ceiling: 2},
		{Name: "bench", Kind: KeepOut, Rings: [][]XY{star(r, -15, 9, 2, 4, 9)}, Floor: 1, Ceiling: 3},
	})
	if err != nil {
		t.Fatal(err)
	}
	sweeps := make([]Sweep, 500)
	want := make([]Hit, len(sweeps))
	for i := range sweeps {
		p := XYZ{X: r.Float64()*140 - 70, Y: r.Float64()*140 - 70, Z: 1 + r.Float64()}
		sweeps[i] = Sweep{From: p, To: XYZ{X: p.X + r.Float64(), Y: p.Y - r.Float64(), Z: p.Z}, Radius: 0.3, Below: 0.1, Above: 0.2}
		want[i] = set.Clearance(&sweeps[i])
	}
	var wg sync.WaitGroup
	for g := range 4 {
		wg.Go(func() {
			var last Last
			var hits []Hit
			for i := range sweeps {
				k := (i + g*97) % len(sweeps)
				w := sweeps[k]
				if got := set.ClearanceAfter(&w, &last); got != want[k] {
					t.Errorf("sweep %d beside other readers: %+v, alone %+v", k, got, want[k])
					return
				}
				hits = set.JudgeAfter(&w, 1, hits[:0], &last)
			}
		})
	}
	wg.Wait()
}
