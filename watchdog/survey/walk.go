package survey

import (
	"fmt"
	"math"
	"time"

	"pinfold/watchdog/pose"
	"pinfold/zones"
)

// Bounds of a walk.
const (
	// MaxKnots bounds what is left of a walk once jitter is taken out: a zone
	// has no more corners than that.
	MaxKnots = zones.MaxVertices
	// maxPath bounds the points of the path that is kept for the picture.
	maxPath = 20_000
	// pathStep is how far apart, m, those points are at least.
	pathStep = 0.01
	// leapSpeed, m/s, is what no hand along an edge exceeds (common practice,
	// no source: a brisk walk is 2 m/s).
	leapSpeed = 4.0
	// MinJitter and MaxJitter bound WalkOptions.Jitter, m.
	MinJitter, MaxJitter = 0.005, 0.5
)

// WalkOptions says how a walk is read. The zero value is usable.
type WalkOptions struct {
	// Tip is the point that follows the edge, m, as seen from the body's centre
	// along the body's own axes (x forward, y left, z up): a vehicle held with
	// its nose on the wall has its tip in front. Zero: the centre itself.
	Tip pose.Vec
	// Jitter is how far, m, a hand wanders that means to keep still. Zero: 0.05.
	Jitter float64
}

// WalkError is why a walk cannot become a zone.
type WalkError struct {
	Says  string
	Try   string
	After time.Duration // by stamps, since the walk's first sample
	At    zones.XY      // m, where it shows; see Place
	Place bool          // At is known

	Session bool // the tracker is not aligned, or restarted: walking again is no use
}

// Error is what is wrong, where, when, and the next step.
func (e *WalkError) Error() string {
	text := e.Says
	if e.Place {
		text += fmt.Sprintf(", at (%.2f, %.2f)", e.At.X, e.At.Y)
	}
	if e.After > 0 {
		text += fmt.Sprintf(", %.1f s into the walk", e.After.Seconds())
	}
	return text + ". " + e.Try
}

// knot is one corner of the walk once jitter is taken out: the mean of samples
// in a row that stayed within Jitter of their first.
type knot struct {
	at   zones.XY
	way  float64       // m walked up to here
	time time.Duration // since the first sample
}

// Walk gathers a walk along an edge, one sample at a time. A body that rests
// anywhere for however long adds nothing. It is not for use by two goroutines
// at once.
type Walk struct {
	cfg   pose.Config
	carry *pose.Carrier
	o     WalkOptions

	knots   []knot
	anchor  zones.XY // first sample of the knot in the making
	sum     zones.XY
	n       int
	first   int64
	last    int64 // stamp of the newest sample that moved
	stamp   int64 // newest stamp
	tracker string
	epoch   int64 // see Epoch
	at      zones.XY
	heights [2]float64
	seen    int
	skipped int

	path []zones.XY
	step float64
}

// NewWalk reads a walk in the frame of c's alignment, by its axes and mounting.
func NewWalk(c pose.Config, o WalkOptions) (*Walk, error) {
	if o.Jitter == 0 {
		o.Jitter = 0.05
	}
	if !(o.Jitter >= MinJitter && o.Jitter <= MaxJitter) {
		return nil, fmt.Errorf("a jitter of %g m cannot be used: give one from %g to %g", o.Jitter, MinJitter, float64(MaxJitter))
	}
	if !(o.Tip.Norm() <= 5) {
		return nil, fmt.Errorf("a tip %v m away cannot be used: at most 5 m", o.Tip)
	}
	k, err := pose.NewCarrier(c)
	if err != nil {
		return nil, err
	}
	return &Walk{cfg: c, carry: k, o: o, step: pathStep}, nil
}

// Add takes one sample. The error, a *WalkError, ends the walk: the tracker
// restarted, was silent while it moved, or leapt. A sample that is not finite,
// that repeats the last bit for bit, that comes out of order or with less
// confidence than the config asks for is passed over; what is missing for it
// shows as silence.
func (w *Walk) Add(s *pose.Sample) error {
	if err := w.sameSession(s); err != nil {
		return err
	}
	p, q, fault := w.carry.Carry(s)
	switch {
	case fault != nil, w.seen > 0 && s.Stamp <= w.stamp,
		s.HasConfidence && s.Confidence < w.cfg.MinConfidence:
		w.skipped++
		return nil
	}
	p = p.Add(q.Rotate(w.o.Tip))
	at := zones.XY{X: p.X, Y: p.Y}
	if w.seen > 0 && at == w.at {
		w.stamp = s.Stamp
		w.skipped++
		return nil
	}
	if w.seen == 0 {
		w.first, w.heights = s.Stamp, [2]float64{p.Z, p.Z}
	} else if err := w.reached(s.Stamp, at); err != nil {
		return err
	}
	w.heights = [2]float64{math.Min(w.heights[0], p.Z), math.Max(w.heights[1], p.Z)}
	w.seen++
	w.tracker, w.stamp, w.last, w.at = s.Tracker, s.Stamp, s.Stamp, at
	w.draw(at)
	return w.gather(at)
}

// Epoch tells at which wall clock, ns since 1970 UTC, the tracker's stamp was
// zero: what shows that a tracker without an id restarted. It is looked at with
// the walk's first sample; zero, or never told, is not known.
func (w *Walk) Epoch(zero int64) { w.epoch = zero }

// sameSession refuses a sample of another session than the alignment's, or
// than the walk began in.
func (w *Walk) sameSession(s *pose.Sample) error {
	says := ""
	switch {
	case w.seen > 0 && s.Tracker != w.tracker:
		says = fmt.Sprintf("the tracker restarted (%q, then %q)", w.tracker, s.Tracker)
	case w.seen > 0 && time.Duration(w.stamp-s.Stamp) > w.cfg.MaxAge:
		says = fmt.Sprintf("the tracker's stamps ran back by %.2f s: it restarted", float64(w.stamp-s.Stamp)/1e9)
	case w.seen == 0:
		if says = w.cfg.Align.Foreign(s.Tracker, s.Stamp, w.epoch); says != "" {
			says = "the alignment does not hold: " + says
		}
	}
	if says == "" {
		return nil
	}
	e := &WalkError{Says: says, Try: "Align it again, and begin the walk anew", Session: true}
	if w.seen > 0 {
		e.At, e.Place, e.After = w.at, true, time.Duration(w.stamp-w.first)
	}
	return e
}

// reached refuses a step that no hand makes, or that nobody saw.
func (w *Walk) reached(stamp int64, at zones.XY) error {
	d, dt := distance(w.at, at), float64(stamp-w.last)/1e9
	switch {
	case d <= 2*w.o.Jitter:
	case dt > w.cfg.MaxAge.Seconds():
		return w.fails(stamp, "Walk it again, slower, with the camera's view free",
			"the tracker was lost for %.2f s, while it moved by %.2f m", dt, d)
	case d > leapSpeed*dt:
		return w.fails(stamp, "It corrected itself and was wrong before or is now: align it again, and begin the walk anew",
			"the tracker leapt by %.2f m within %.0f ms", d, dt*1e3)
	}
	return nil
}

func (w *Walk) fails(stamp int64, try, form string, a ...any) error {
	return &WalkError{Says: fmt.Sprintf(form, a...), Try: try, At: w.at, Place: true, After: time.Duration(stamp - w.first)}
}

// gather adds a point to the knot in the making, or ends that.
func (w *Walk) gather(at zones.XY) error {
	if w.n > 0 && distance(at, w.anchor) > w.o.Jitter {
		w.knots = append(w.knots, w.making())
		w.n, w.sum = 0, zones.XY{}
	}
	if w.n == 0 {
		w.anchor = at
	}
	w.n++
	w.sum.X, w.sum.Y = w.sum.X+at.X, w.sum.Y+at.Y
	if len(w.knots) >= MaxKnots {
		return w.fails(w.stamp, "Trace it in parts, or give a greater --jitter",
			"the walk is too long: %.0f m have more than %d corners", w.Length(), MaxKnots)
	}
	return nil
}

// making is the knot that the newest samples are of. Coordinates are whole
// millimetres, so that what is written is what was checked.
func (w *Walk) making() knot {
	n := float64(w.n)
	k := knot{at: zones.XY{X: math.Round(w.sum.X/n*1e3) / 1e3, Y: math.Round(w.sum.Y/n*1e3) / 1e3}, time: time.Duration(w.last - w.first)}
	if i := len(w.knots); i > 0 {
		k.way = w.knots[i-1].way + distance(w.knots[i-1].at, k.at)
	}
	return k
}

// draw keeps the path for the picture; every other point of one that is long.
func (w *Walk) draw(at zones.XY) {
	if n := len(w.path); n > 0 && distance(w.path[n-1], at) < w.step {
		return
	}
	if w.path = append(w.path, at); len(w.path) < maxPath {
		return
	}
	half := w.path[:0]
	for i := 0; i < maxPath; i += 2 {
		half = append(half, w.path[i])
	}
	w.path, w.step = half, 2*w.step
}

// Length is how far was walked, m, without what a resting hand wanders.
func (w *Walk) Length() float64 {
	if w.n == 0 {
		return 0
	}
	return w.making().way
}

// FromStart is how far, m, the walk is from where it began.
func (w *Walk) FromStart() float64 {
	if len(w.knots) == 0 {
		return 0
	}
	return distance(w.knots[0].at, w.at)
}

// At is where the walk is, m.
func (w *Walk) At() zones.XY { return w.at }

// Path is the walk as it was walked, m, thinned out for a picture.
func (w *Walk) Path() []zones.XY { return w.path }

func distance(a, b zones.XY) float64 { return math.Hypot(a.X-b.X, a.Y-b.Y) }
