package trial

import (
	"math"
	"math/rand/v2"
	"time"

	"pinfold/watchdog/pose"
)

// Fault is something that goes wrong with a tracker or on the way from it.
type Fault uint8

// Faults, each from one instant on.
const (
	Silent    Fault = iota // nothing is sent any more
	Frozen                 // position and attitude stay, stamps go on
	Jump                   // the position is off by 0.5 to 3 m, reported velocity unmoved
	Swapped                // two messages change places
	Thinned                // so many messages are lost that the rate is two thirds of the least
	Doubtful               // confidence falls to a tenth
	Biased                 // reported velocity is off by 1 m/s
	NewID                  // the tracker restarts, tells a new id, and counts stamps from zero
	AtOrigin               // the tracker, which tells no id, restarts at its origin after 2 s
	NotFinite              // a coordinate is not a number
	NotUnit                // the quaternion's norm is off by 5 %
	Backlog                // every message comes a tenth of the time later than it should
	Leap                   // the sender's clock leaps ahead by 0.3 to 3 s
	SetBack                // stamps begin anew an hour before, and nothing else tells of it
	LoneLeap               // one stamp leaps ahead by an hour, all others are as before
	Faults                 // how many there are
)

// String says what is wrong.
func (f Fault) String() string {
	return [...]string{"silent", "frozen", "jump", "out of order", "rate too low", "low confidence",
		"velocity disagrees", "restart, new id", "restart, no id", "not finite", "not unit",
		"growing backlog", "clock leap", "stamps set back", "one stamp ahead", "unknown"}[min(f, Faults)]
}

// noticed reports whether what the track or the decoder said names the fault.
func (f Fault) noticed(d pose.Distrust, refused *pose.Fault) bool {
	kind := pose.FaultKind(0)
	if refused != nil {
		kind = refused.Kind
	}
	switch f {
	case Silent:
		return d.Has(pose.Stale)
	case Frozen:
		return d.Has(pose.Frozen)
	case Jump:
		return d.Has(pose.Jumped)
	case Swapped:
		return kind == pose.StampBack
	case Thinned:
		return d.Has(pose.Slow)
	case Doubtful:
		return d.Has(pose.Unsure)
	case Biased:
		return d.Has(pose.Disagrees)
	case NewID, AtOrigin, SetBack, LoneLeap:
		return d.Has(pose.Restarted)
	case NotFinite:
		return kind == pose.NotFinite
	case NotUnit:
		return kind == pose.NotUnit
	case Backlog:
		return d.Has(pose.Late)
	case Leap:
		return d.Has(pose.ClockStep)
	}
	return false
}

// message is one sample on its way.
type message struct {
	sample  pose.Sample
	arrived time.Duration
}

// spoil puts the fault into the messages from the index k on.
func (f Fault) spoil(m []message, k int, cfg *pose.Config, rng *rand.Rand) []message {
	switch f {
	case Silent:
		return m[:k]
	case Swapped:
		m[k].sample, m[k+1].sample = m[k+1].sample, m[k].sample
		return m
	case Thinned:
		return thin(m, k, cfg.MinRateHz*2/3, cfg.MaxAge)
	case AtOrigin:
		return restartAtOrigin(m, k)
	case LoneLeap:
		m[k].sample.Stamp += int64(time.Hour)
		return m
	case SetBack:
		for i := range m[:k] { // the same, and no stamp falls below zero
			m[i].sample.Stamp += int64(time.Hour)
		}
		return m
	}
	c := change{
		fault: f, first: m[k].sample, begin: m[k].arrived,
		offset: anywhere(rng).Scale(0.5 + 2.5*rng.Float64()), bias: anywhere(rng),
		leap: int64(300*time.Millisecond) + rng.Int64N(int64(2700*time.Millisecond)),
	}
	for i := k; i < len(m); i++ {
		c.apply(&m[i])
	}
	return m
}

// change is what a fault does to every message from its first on.
type change struct {
	fault  Fault
	first  pose.Sample
	begin  time.Duration
	offset pose.Vec // m
	bias   pose.Vec // m/s
	leap   int64    // ns
}

func (c *change) apply(m *message) {
	s := &m.sample
	switch c.fault {
	case Frozen:
		s.Position, s.Orientation = c.first.Position, c.first.Orientation
	case Jump:
		s.Position = s.Position.Add(c.offset)
	case Doubtful:
		s.Confidence /= 10
	case Biased:
		s.Velocity = s.Velocity.Add(c.bias)
	case NewID:
		s.Tracker = "another"
		s.Stamp -= c.first.Stamp
	case NotFinite:
		s.Position.Y = math.NaN()
	case NotUnit:
		q := &s.Orientation
		*q = pose.Quat{W: 1.05 * q.W, X: 1.05 * q.X, Y: 1.05 * q.Y, Z: 1.05 * q.Z}
	case Backlog:
		m.arrived += (m.arrived - c.begin) / 10
	case Leap:
		s.Stamp += c.leap
	}
}

// thin loses messages from k on so that about hz of them arrive a second, but
// none whose loss would make a gap: that would be another fault.
func thin(m []message, k int, hz float64, maxAge time.Duration) []message {
	step := time.Duration(float64(time.Second) / hz)
	out := m[:k]
	for i := k; i < len(m); i++ {
		last := out[len(out)-1].arrived
		gap := i+1 < len(m) && m[i+1].arrived-last > maxAge
		if m[i].arrived-last >= step || gap {
			out = append(out, m[i])
		}
	}
	return out
}

// restartAtOrigin is two seconds of silence and then a tracker that takes the
// place where it stands for its origin.
func restartAtOrigin(m []message, k int) []message {
	const silence = 2 * time.Second
	out, origin := m[:k], pose.Vec{}
	for i := k; i < len(m); i++ {
		x := m[i]
		if x.arrived < m[k-1].arrived+silence {
			continue
		}
		if origin == (pose.Vec{}) {
			origin = x.sample.Position
		}
		x.sample.Position = x.sample.Position.Sub(origin)
		out = append(out, x)
	}
	return out
}

// anywhere is a random direction.
func anywhere(rng *rand.Rand) pose.Vec {
	for {
		v := pose.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}
		if n := v.Norm(); n > 0.01 {
			return v.Scale(1 / n)
		}
	}
}
