package sim

import (
	"math"
	"strconv"
	"time"
)

// EyeSpec is a tracker whose errors have bounds: what a declaration says of
// one. The zero value of every error is none.
type EyeSpec struct {
	Period   time.Duration // between two poses; 5 ms where zero
	Jitter   float64       // share of the period, 0 to 0.9: a period is this much longer or shorter at the most
	Clock    time.Duration // what its clock shows at the start of the simulation
	Latency  time.Duration // from the instant of a pose to its arrival: what every pose takes
	Late     time.Duration // what it may take beyond, evenly distributed; order is kept
	LateFrom time.Duration // before this instant of the simulation no pose takes longer than Latency
	Lose     float64       // share of the poses that never arrive, after LateFrom
	Hide     Vec           // m, site frame: error of the position, at its full size from the beginning
	Creep    float64       // m of further error in the direction of Hide per m travelled, up to HideMost
	HideMost float64       // m, most of Hide and Creep together; no bound where zero
	Wobble   float64       // m, most of a further error in a direction of its own for every pose
	Velocity bool          // report velocity too
	HideV    Vec           // m/s, site frame: error of the reported velocity
	WobbleV  float64       // m/s, most of a further error of it
	Name     string        // tracker id
}

// Eye is a tracking camera that reports in the site frame, z up, and whose
// errors never exceed its spec. Tracker is the other one, with errors as real
// ones have them: without bounds, and with faults.
type Eye struct {
	spec EyeSpec
	next time.Duration
	due  time.Duration // when the newest message arrives
	seq  uint64
	rng  *rng
	seen Glance
	buf  []byte
}

// Glance is what an Eye has seen, as the contract's message tells it: every length
// is a whole number of micrometres, which rounds away the last bits in which
// processors differ, and is the float64 nearest to it, which is what reading the
// message gives.
type Glance struct {
	Stamp       time.Duration // by the eye's clock
	Seq         uint64
	Position    Vec // m
	Orientation Quat
	Velocity    Vec // m/s; told where the spec says so
}

// NewEye makes an Eye whose errors come from seed.
func NewEye(spec EyeSpec, seed uint64) *Eye {
	if spec.Period <= 0 {
		spec.Period = 5 * time.Millisecond
	}
	if spec.Name == "" {
		spec.Name = "eye-1"
	}
	return &Eye{spec: spec, rng: newRNG(seed, "eye")}
}

// Name is the tracker id that the eye tells.
func (e *Eye) Name() string { return e.spec.Name }

// ClockAt is what the eye's clock shows at simulation time now.
func (e *Eye) ClockAt(now time.Duration) time.Duration { return e.spec.Clock + now }

// Next is the simulation time of the next pose.
func (e *Eye) Next() time.Duration { return e.next }

// See takes the pose of this instant, s being the truth at Next, and says when it
// arrives. The glance is good until the next call; nil is a pose that gets lost.
func (e *Eye) See(s *State) (g *Glance, due time.Duration) {
	at := e.next
	sp := &e.spec
	e.next += time.Duration(float64(sp.Period) * (1 + sp.Jitter*e.even()))
	late := time.Duration(0)
	if at >= sp.LateFrom {
		late = time.Duration(float64(sp.Late) * e.rng.Float64())
		if sp.Lose > 0 && e.rng.Float64() < sp.Lose {
			return nil, 0
		}
	}
	e.due = max(e.due, at+sp.Latency+late)
	e.seq++
	p := s.Position.Add(e.hidden(s)).Add(e.ball(sp.Wobble))
	v := s.Velocity.Add(sp.HideV).Add(e.ball(sp.WobbleV))
	q := s.Orientation
	e.seen = Glance{Stamp: e.ClockAt(at), Seq: e.seq, Position: Vec{micro(p.X), micro(p.Y), micro(p.Z)},
		Orientation: Quat{W: micro(q.W), X: micro(q.X), Y: micro(q.Y), Z: micro(q.Z)}, Velocity: Vec{micro(v.X), micro(v.Y), micro(v.Z)}}
	return &e.seen, e.due
}

// micro is x rounded to six decimals. A whole number below 2^53 over a million is
// rounded once, as is the number that its decimals say.
func micro(x float64) float64 { return float64(int64(math.Round(x*1e6))) / 1e6 }

// Message is the contract's message of what was seen. The bytes are good until the
// next call.
func (e *Eye) Message(g *Glance) []byte {
	e.buf = e.encode(e.buf[:0], g)
	return e.buf
}

// hidden is the error of the position but for its wobble, m.
func (e *Eye) hidden(s *State) Vec {
	h := e.spec.Hide
	l := h.Len()
	if l == 0 || e.spec.Creep == 0 {
		return h
	}
	far := l + e.spec.Creep*s.Travelled
	if m := e.spec.HideMost; m > 0 {
		far = math.Min(far, math.Max(m, l))
	}
	return h.Mul(far / l)
}

// even is a number from -1 to 1.
func (e *Eye) even() float64 { return 2*e.rng.Float64() - 1 }

// ball is a vector no longer than most.
func (e *Eye) ball(most float64) Vec {
	if most == 0 {
		return Vec{}
	}
	return Vec{most * e.even(), most * e.even(), most * e.even()}.Clip(most)
}

// encode writes the contract's pose.
func (e *Eye) encode(b []byte, g *Glance) []byte {
	p, v, q := &g.Position, &g.Velocity, &g.Orientation
	b = fixed(append(b, `{"stamp":`...), int64(g.Stamp), 9)
	b = strconv.AppendUint(append(b, `,"seq":`...), g.Seq, 10)
	b = six(append(b, `,"position":{"x":`...), p.X)
	b = six(append(b, `,"y":`...), p.Y)
	b = six(append(b, `,"z":`...), p.Z)
	b = six(append(b, `},"orientation":{"w":`...), q.W)
	b = six(append(b, `,"x":`...), q.X)
	b = six(append(b, `,"y":`...), q.Y)
	b = six(append(b, `,"z":`...), q.Z)
	if e.spec.Velocity {
		b = six(append(b, `},"velocity":{"x":`...), v.X)
		b = six(append(b, `,"y":`...), v.Y)
		b = six(append(b, `,"z":`...), v.Z)
	}
	b = append(b, `},"confidence":1,"tracker":"`...)
	return append(append(b, e.spec.Name...), '"', '}')
}

// six appends x, which has no more than six decimals.
func six(b []byte, x float64) []byte { return fixed(b, int64(math.Round(x*1e6)), 6) }

// fixed appends n over 10^decimals.
func fixed(b []byte, n int64, decimals int) []byte {
	if n < 0 {
		b, n = append(b, '-'), -n
	}
	var digits [24]byte
	i := len(digits)
	left := uint64(n) // divides quicker
	for k := 0; left > 0 || k <= decimals; k++ {
		if k == decimals {
			i--
			digits[i] = '.'
		}
		i--
		digits[i] = byte('0' + left%10)
		left /= 10
	}
	return append(b, digits[i:]...)
}
