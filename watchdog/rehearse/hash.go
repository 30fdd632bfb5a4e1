package rehearse

import (
	"math"
	"math/rand/v2"
	"time"

	"pinfold/sim"
	"pinfold/watchdog"
)

// hash is FNV-1a, 64 bits.
type hash struct{ sum uint64 }

const fnvPrime = 1099511628211

func newHash() hash { return hash{14695981039346656037} }

func (h *hash) u64(x uint64) {
	for range 8 {
		h.sum = (h.sum ^ x&0xff) * fnvPrime
		x >>= 8
	}
}

func (h *hash) bytes(b []byte) {
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

// ledger has one hash for each kind of thing that happens; off it has none.
type ledger struct {
	on                         bool
	poses, said, values, truth hash
}

func newLedger(on bool) ledger {
	return ledger{on, newHash(), newHash(), newHash(), newHash()}
}

func (l *ledger) sums() Hashes {
	if !l.on {
		return Hashes{}
	}
	return Hashes{l.poses.sum, l.said.sum, l.values.sum, l.truth.sum}
}

func (l *ledger) pose(b []byte, due time.Duration) {
	if l.on {
		l.poses.bytes(b)
		l.poses.u64(uint64(due))
	}
}

func (l *ledger) permit(p *watchdog.Permit, now time.Duration) {
	if !l.on {
		return
	}
	l.said.u64(uint64(now))
	l.said.u64(p.Seq)
	l.said.u64(uint64(p.Stamp))
	if p.Go {
		l.said.u64(1)
	}
}

func (l *ledger) command(c *watchdog.Command, now time.Duration) {
	if !l.on {
		return
	}
	l.said.u64(uint64(now))
	l.said.bytes([]byte(c.ID + c.Action.String() + c.Cause.String() + c.Name))
	l.said.u64(c.Seq)
	l.values.u64(math.Float64bits(c.Value))
	l.values.u64(math.Float64bits(c.Limit))
}

func (l *ledger) state(s *sim.State) {
	if l.on {
		l.truth.state(s)
	}
}

// jitter is the stream of what comes and goes on the link to the vehicle.
type jitter struct{ rng *rand.Rand }

func newJitter(seed uint64) jitter {
	return jitter{rand.New(rand.NewPCG(seed, 0x6a69747465720001))}
}

func (j *jitter) share() float64 { return j.rng.Float64() }
