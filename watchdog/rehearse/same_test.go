package rehearse

import (
	"runtime"
	"strings"
	"testing"
)

// sameRuns is the hash of everything that happened in some runs of both kinds,
// in random pens and in the demo's, among slow zones, brought back, and in pairs.
func sameRuns(t *testing.T) (sum Hashes) {
	t.Helper()
	for i, kind := range kinds() {
		sum.add(many(t, &Random{Kind: kind}, 7000, 32, Options{Hash: true}).Hash)
		sum.add(many(t, demoSource(t, i), 7000, 16, Options{Hash: true}).Hash)
		sum.add(manySlow(t, &RandomSlow{Kind: kind}, 7000, 8, false, Options{Hash: true}).hash)
		sum.add(manyBack(t, &RandomBack{Kind: kind}, 7000, 2, false, Options{Hash: true}).hash)
	}
	for _, both := range pairKinds() {
		sum.add(manyPairs(t, &RandomPairs{Kinds: both}, 7000, 5, Options{Hash: true}).Hash)
	}
	return sum
}

// TestSameSeedSameBytes: the same seeds give the same messages, decisions and
// positions, to the last bit, however many processors there are.
func TestSameSeedSameBytes(t *testing.T) {
	before := runtime.GOMAXPROCS(1)
	defer runtime.GOMAXPROCS(before)
	one := sameRuns(t)
	again := sameRuns(t)
	runtime.GOMAXPROCS(2)
	two := sameRuns(t)
	t.Logf("%s: %016x", runtime.GOARCH, one)
	if one != again || one != two {
		t.Errorf("%016x, again %016x, on two processors %016x", one, again, two)
	}
}

// TestHashSeesADifference: another seed has another hash, and so has another
// truth.
func TestHashSeesADifference(t *testing.T) {
	src := demoSource(t, 0)
	seen := map[Hashes]uint64{}
	differ := 0
	for seed := range uint64(20) {
		res, c, err := RunSeed(src, seed, Options{Hash: true})
		if err != nil {
			t.Fatal(err)
		}
		if old, ok := seen[res.Hash]; ok {
			t.Errorf("seeds %d and %d have one hash", old, seed)
		}
		seen[res.Hash] = seed
		c.Truth.Eye.Latency += ms
		other, err := Run(c, Options{Hash: true})
		if err != nil {
			t.Fatal(err)
		}
		if other.Hash != res.Hash {
			differ++
		}
	}
	if differ < 15 {
		t.Errorf("a pose a millisecond later changes %d of 20 runs", differ)
	}
}

// TestOrderOfSeedsDoesNotMatter: a seed's run is its own, whichever ran before.
func TestOrderOfSeedsDoesNotMatter(t *testing.T) {
	for _, kind := range kinds() {
		forward, backward := &Random{Kind: kind}, &Random{Kind: kind}
		var want []Hashes
		for seed := range uint64(3 * PerPen) {
			res, _, err := RunSeed(forward, seed, Options{Hash: true})
			if err != nil {
				t.Fatal(err)
			}
			want = append(want, res.Hash)
		}
		for i := len(want) - 1; i >= 0; i -= 5 {
			res, _, err := RunSeed(backward, uint64(i), Options{Hash: true})
			if err != nil {
				t.Fatal(err)
			}
			if res.Hash != want[i] {
				t.Errorf("%v: seed %d: %016x, and %016x in another order", kind, i, want[i], res.Hash)
			}
		}
	}
}

// TestOrderOfPairsDoesNotMatter: the same for two vehicles.
func TestOrderOfPairsDoesNotMatter(t *testing.T) {
	for _, both := range pairKinds() {
		forward, backward := &RandomPairs{Kinds: both}, &RandomPairs{Kinds: both}
		var want []Hashes
		for i := range 2 * PerPen {
			seed := uint64(i)
			if i >= PerPen { // from the last to the first
				seed = uint64(2*PerPen - 1 - i)
			}
			src := forward
			if i >= PerPen {
				src = backward
			}
			res, _, err := RunPairSeed(src, seed, Options{Hash: true})
			if err != nil {
				t.Fatal(err)
			}
			if i < PerPen {
				want = append(want, res.Hash)
			} else if res.Hash != want[seed] {
				t.Errorf("%v: seed %d: %016x, and %016x in another order", both, seed, want[seed], res.Hash)
			}
		}
	}
}

// TestTrace: a run can be told.
func TestTrace(t *testing.T) {
	var b strings.Builder
	res, _, err := RunSeed(demoSource(t, 1), 3, Options{Trace: &b})
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"started", "cause", "halts", "ends with"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("nothing of %q in the trace of %+v:\n%s", want, res, b.String())
		}
	}
}
