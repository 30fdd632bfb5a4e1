package sim

import (
	"fmt"
	"math"
	"strconv"
	"time"
)

// Axes names the axis set a tracker reports in, as the site file does.
type Axes string

// The axis sets the simulated tracker speaks; the empty one is z-up.
const (
	ZUp Axes = "z-up"
	YUp Axes = "y-up" // OpenXR: x right, y up, z backwards
)

// TrackerSpec is a self-contained tracking camera with its errors. The zero
// value of every error is none.
type TrackerSpec struct {
	Rate       float64       // Hz; 200 where zero
	RateJitter float64       // share of the period, one standard deviation
	Clock      time.Duration // what its clock shows at the start of the simulation
	ClockRate  float64       // parts per million its clock runs fast
	Latency    time.Duration // from the instant of a pose to its message
	Lateness   time.Duration // mean of a further, exponential latency; order is kept
	Noise      float64       // m, standard deviation, each axis
	NoiseAngle float64       // rad, standard deviation, each axis
	NoiseSpeed float64       // m/s, standard deviation, each axis, of a reported velocity
	Drift      float64       // share of the distance travelled by which the position creeps away
	Wander     float64       // m/√s, random walk of the position
	Axes       Axes
	Origin     Vec     // m, site frame: where the tracker frame starts
	OriginYaw  float64 // rad, site frame: where its x axis points
	Mount      Vec     // m, body frame: from the body's centre to the tracker
	Velocity   bool    // report velocity too
	Name       string  // first tracker id; a restart makes another
}

// Sent is one message of the tracker.
type Sent struct {
	Payload []byte        // JSON, the contract's pose
	Stamp   time.Duration // of the tracker's clock, as in the payload
	Due     time.Duration // simulation time at which it leaves
}

// Tracker turns the truth into poses, with the errors of its spec and the
// faults it is told to have.
type Tracker struct {
	spec     TrackerSpec
	next     time.Duration
	seq      uint64
	restarts int
	queue    []Sent
	rng      *rng
	creep    Vec // m, drift so far
	creepDir Vec
	lastPos  Vec
	started  bool
	// faults
	lost, frozen bool
	jumped       Vec
	confidence   float64
	last         *reading
}

// reading is one pose in the tracker's own frame and axes.
type reading struct {
	p, v Vec
	q    Quat
}

// NewTracker makes a tracker whose errors come from seed.
func NewTracker(spec TrackerSpec, seed uint64) *Tracker {
	if spec.Rate <= 0 {
		spec.Rate = 200
	}
	if spec.Name == "" {
		spec.Name = "eye"
	}
	t := &Tracker{spec: spec, rng: newRNG(seed, "tracker"), confidence: 1}
	a := t.rng.Float64() * 2 * math.Pi
	t.creepDir = Vec{math.Cos(a), math.Sin(a), 0}
	return t
}

// Clock is what the tracker's clock shows at simulation time now.
func (t *Tracker) Clock(now time.Duration) time.Duration {
	return t.spec.Clock + now + time.Duration(float64(now)*t.spec.ClockRate*1e-6)
}

// Lose makes the tracker send nothing, or send again.
func (t *Tracker) Lose(on bool) { t.lost = on }

// Freeze makes it repeat its last pose bit for bit, with new stamps.
func (t *Tracker) Freeze(on bool) { t.frozen = on }

// Jump moves the reported position by d metres (site frame), with no change in
// the reported velocity, until Home.
func (t *Tracker) Jump(d Vec) { t.jumped = t.jumped.Add(d) }

// Home takes jumps and drift back: a relocalisation.
func (t *Tracker) Home() { t.jumped, t.creep = Vec{}, Vec{} }

// Doubt sets the confidence reported, 0..1.
func (t *Tracker) Doubt(confidence float64) { t.confidence = clamp(confidence, 0, 1) }

// Good says whether the vehicle itself would trust this tracker: it sends, and
// knows of no fault.
func (t *Tracker) Good() bool { return !t.lost && !t.frozen && t.jumped == Vec{} }

// Restart gives the tracker a new id and a new origin: wherever the vehicle is.
func (t *Tracker) Restart(s State) {
	t.restarts++
	t.seq = 0
	t.creep, t.jumped, t.last = Vec{}, Vec{}, nil
	t.spec.Origin = s.Position
	t.spec.OriginYaw = yawOf(s.Orientation)
}

// Step takes the truth at simulation time now and returns the messages that
// leave by now, in order. Call it with rising times.
func (t *Tracker) Step(now time.Duration, s State) []Sent {
	t.walk(s)
	for t.next <= now {
		t.sample(t.next, s)
		period := float64(time.Second) / t.spec.Rate
		t.next += time.Duration(period * math.Max(0.1, 1+t.spec.RateJitter*t.rng.NormFloat64()))
	}
	n := 0
	for n < len(t.queue) && t.queue[n].Due <= now {
		n++
	}
	out := t.queue[:n:n]
	t.queue = t.queue[n:]
	return out
}

// walk lets the position error grow with the way travelled.
func (t *Tracker) walk(s State) {
	if t.started && t.spec.Drift != 0 {
		t.creep = t.creep.Add(t.creepDir.Mul(t.spec.Drift * s.Position.Sub(t.lastPos).Len()))
	}
	t.started, t.lastPos = true, s.Position
}

func (t *Tracker) sample(at time.Duration, s State) {
	if t.spec.Wander != 0 {
		w := t.spec.Wander / math.Sqrt(t.spec.Rate)
		t.creep = t.creep.Add(Vec{t.rng.NormFloat64() * w, t.rng.NormFloat64() * w, t.rng.NormFloat64() * w})
	}
	r := t.read(s)
	if t.frozen && t.last != nil {
		r = *t.last
	}
	t.last = &r
	if t.lost {
		return
	}
	t.seq++
	due := at + t.spec.Latency
	if t.spec.Lateness > 0 {
		due += time.Duration(t.rng.ExpFloat64() * float64(t.spec.Lateness))
	}
	if n := len(t.queue); n > 0 && due < t.queue[n-1].Due {
		due = t.queue[n-1].Due
	}
	stamp := t.Clock(at)
	t.queue = append(t.queue, Sent{Payload: t.encode(r, stamp), Stamp: stamp, Due: due})
}

// read is the pose in the tracker's frame, with its errors.
func (t *Tracker) read(s State) reading {
	n := func(sd float64) Vec {
		if sd == 0 {
			return Vec{}
		}
		return Vec{t.rng.NormFloat64() * sd, t.rng.NormFloat64() * sd, t.rng.NormFloat64() * sd}
	}
	back := Yawed(-t.spec.OriginYaw)
	p := s.Position.Add(s.Orientation.rotate(t.spec.Mount)).Add(t.creep).Add(t.jumped)
	p = back.rotate(p.Sub(t.spec.Origin)).Add(n(t.spec.Noise))
	q := back.Mul(s.Orientation)
	if e := n(t.spec.NoiseAngle); e != (Vec{}) {
		q = q.Mul(about(e.Mul(1/e.Len()), e.Len()))
	}
	v := back.rotate(s.Velocity).Add(n(t.spec.NoiseSpeed))
	if t.spec.Axes == YUp {
		return reading{xr(p), xr(v), Quat{q.W, -q.Y, q.Z, -q.X}}
	}
	return reading{p, v, q}
}

// xr carries a vector from z-up (x forward, y left) to the OpenXR axes, the
// inverse of p' = (-z, -x, y) in REFERENCES §4.
func xr(a Vec) Vec { return Vec{-a.Y, a.Z, -a.X} }

// rotate carries a from the body to the world.
func (q Quat) rotate(a Vec) Vec {
	if a == (Vec{}) {
		return a
	}
	r := q.Mul(Quat{0, a.X, a.Y, a.Z}).Mul(Quat{q.W, -q.X, -q.Y, -q.Z})
	return Vec{r.X, r.Y, r.Z}
}

// yawOf is the heading of the body's x axis, rad.
func yawOf(q Quat) float64 {
	return math.Atan2(2*(q.W*q.Z+q.X*q.Y), 1-2*(q.Y*q.Y+q.Z*q.Z))
}

// encode writes the contract's pose. Micrometres, microradians and
// microseconds are finer than any tracker, and round away the last bits in
// which processors differ.
func (t *Tracker) encode(r reading, stamp time.Duration) []byte {
	b := make([]byte, 0, 320)
	num := func(key string, x float64) {
		b = append(b, key...)
		b = strconv.AppendFloat(b, x, 'f', 6, 64)
	}
	b = append(b, `{"stamp":`...)
	b = strconv.AppendInt(b, int64(stamp/time.Second), 10)
	b = append(b, fmt.Sprintf(".%09d", stamp%time.Second)...)
	b = append(b, `,"seq":`...)
	b = strconv.AppendUint(b, t.seq, 10)
	num(`,"position":{"x":`, r.p.X)
	num(`,"y":`, r.p.Y)
	num(`,"z":`, r.p.Z)
	num(`},"orientation":{"w":`, r.q.W)
	num(`,"x":`, r.q.X)
	num(`,"y":`, r.q.Y)
	num(`,"z":`, r.q.Z)
	if t.spec.Velocity {
		num(`},"velocity":{"x":`, r.v.X)
		num(`,"y":`, r.v.Y)
		num(`,"z":`, r.v.Z)
	}
	num(`},"confidence":`, t.confidence)
	b = append(b, `,"tracker":`...)
	b = strconv.AppendQuote(b, fmt.Sprintf("%s-%d", t.spec.Name, t.restarts+1))
	return append(b, '}')
}
