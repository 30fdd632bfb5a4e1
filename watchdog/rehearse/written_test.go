package rehearse

import "testing"

// A run in which the guard is given what it would read of each pose is the run in
// which it reads it, to the last bit: of the demo's two vehicles, and of random ones
// with every way of losing and delaying poses.
func TestWrittenOrNotIsTheSameRun(t *testing.T) {
	same := func(src Source, n uint64) (shown int) {
		for seed := uint64(1); seed <= n; seed++ {
			if seed%writtenEvery == 0 {
				continue
			}
			got, _, err := RunSeed(src, seed, Options{})
			if err != nil {
				t.Fatal(err)
			}
			want, _, err := RunSeed(src, seed, Options{Hash: true}) // has them written
			if err != nil {
				t.Fatal(err)
			}
			if want.Hash == (Hashes{}) || got.Hash != (Hashes{}) {
				t.Fatal("nothing was hashed, or all")
			}
			if want.Hash = got.Hash; got != want {
				t.Fatalf("seed %d: %+v, with messages %+v", seed, got, want)
			}
			shown++
		}
		return shown
	}
	shown := same(demoSource(t, 0), 60) + same(demoSource(t, 1), 60)
	for _, k := range kinds() {
		shown += same(&Random{Kind: k}, 80)
	}
	if shown < 200 {
		t.Errorf("%d runs compared", shown)
	}
}
