package rehearse

import (
	"math"
	"math/rand/v2"

	"pinfold/sim"
)

// hash is FNV-1a, 64 bits, eight bytes at a time where there are as many.
type hash struct{ sum uint64 }

const fnvPrime = 1099511628211

func newHash() hash { return hash{14695981039346656037} }

func (h *hash) u64(x uint64) {
	for range 8 {
		h.sum = (h.sum ^ x&0xff) * fnvPrime
		x >>= 8
	}
}

func (h *hash) bytes(b []byte, on bool) {
	if !on {
		return
	}
	for _, x := range b {
		h.sum = (h.sum ^ uint64(x)) * fnvPrime
	}
}

// state takes the truth in, to the last bit.
func (h *hash) state(s *sim.State) {
	for _, x := range [...]float64{s.Position.X, s.Position.Y, s.Position.Z, s.Velocity.X, s.Velocity.Y, s.Velocity.Z} {
		h.u64(math.Float64bits(x))
	}
}

// jitter is the stream of what comes and goes on the link to the vehicle.
type jitter struct{ rng *rand.Rand }

func newJitter(seed uint64) jitter {
	return jitter{rand.New(rand.NewPCG(seed, 0x6a69747465720001))}
}

func (j *jitter) share() float64 { return j.rng.Float64() }
