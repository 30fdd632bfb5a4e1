package sim

import (
	"hash/fnv"
	"math/rand/v2"
)

// rng is a stream of random numbers of its own for every use, so that drawing
// more in one place changes nothing elsewhere.
type rng struct{ *rand.Rand }

// newRNG is the stream called name of a seed.
func newRNG(seed uint64, name string) *rng {
	h := fnv.New64a()
	_, _ = h.Write([]byte(name)) // never fails
	return &rng{rand.New(rand.NewPCG(seed, h.Sum64()))}
}
