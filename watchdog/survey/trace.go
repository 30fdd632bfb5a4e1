package survey

import (
	"errors"
	"fmt"
	"math"

	"pinfold/zones"
)

const (
	// minLoop is the shortest edge, m, that is walked: a smaller one is drawn
	// into the file faster than it is walked.
	minLoop = 2.0
	// minShare is the least area of a loop, as a share of the circle's with the
	// same length: less is a walk there and back.
	minShare = 0.02
	// mostUnsafe is what Trace.Unsafe may come to, in jitters: averaging and
	// curls make no more of it. It is checked all the same.
	mostUnsafe = 3.0
	// curl is the greatest curl that is taken out, in jitters.
	curl = 2.0
)

// TraceOptions says how a walk becomes a zone.
type TraceOptions struct {
	Close     float64 // m, furthest apart that the walk's ends may be; zero: 0.30
	Tolerance float64 // m, >= 0, by how much the outline may be simplified, on the safe side
}

// Trace is a walk that became a zone.
type Trace struct {
	Shape  zones.Shape
	Path   []zones.XY // m, as it was walked, thinned out
	Closed [2]zones.XY
	Gap    float64    // m, between the two ends at Closed
	Length float64    // m, of the loop
	Left   [2]float64 // m, walked before the loop and after it
	Area   float64    // m², of the zone
	Walked float64    // m², of the loop before it was simplified
	Knots  int        // corners before it was simplified
	Height [2]float64 // m, the lowest and highest of the walk
	// Unsafe is how far, m, the walk is inside the keep-in zone, or outside the
	// keep-out zone, at most: where the zone allows what lies beyond the walk.
	// It comes of averaging the hand's jitter, never of simplifying. Between the
	// two ends nobody walked: a square corner there would be cut by up to half
	// of Gap, and Unsafe is no less than that.
	Unsafe float64
	Safe   float64 // m, the most that was lost to the other side
}

// Trace makes a zone of the walk: closed, without curls, simplified on the safe
// side and checked by zones.New. s has all of it but the outline. The error is
// a *WalkError where the walk is to blame, whose place a picture can show.
func (w *Walk) Trace(s zones.Shape, o TraceOptions) (*Trace, error) {
	if o.Close == 0 {
		o.Close = 0.30
	}
	if !(o.Close > 0 && o.Close <= 2) || !(o.Tolerance >= 0 && o.Tolerance <= 2) {
		return nil, fmt.Errorf("closing within %g m and simplifying by %g m: both must be at most 2 m", o.Close, o.Tolerance)
	}
	k, c, err := w.loop(o.Close)
	if err != nil {
		return nil, err
	}
	ring, err := w.ring(k[c.from : c.to+1])
	if err != nil {
		return nil, err
	}
	t := &Trace{Path: w.path, Closed: [2]zones.XY{k[c.to].at, k[c.from].at}, Gap: c.gap, Knots: len(ring),
		Left:   [2]float64{k[c.from].way, k[len(k)-1].way - k[c.to].way},
		Length: k[c.to].way - k[c.from].way + c.gap, Height: w.heights, Walked: area(ring)}
	if t.Walked < minShare*t.Length*t.Length/(4*math.Pi) {
		return nil, &WalkError{Says: fmt.Sprintf("the walk encloses only %.2f m² within %.1f m: it goes there and back", t.Walked, t.Length),
			Try: "Walk all round the zone", At: w.at, Place: true}
	}
	s.Rings = [][]zones.XY{ring}
	if t.Shape, err = zones.Simplify(s, o.Tolerance); err != nil {
		return nil, w.invalid(err)
	}
	t.Area = area(t.Shape.Rings[0])
	if err := t.measure(w); err != nil {
		return nil, err
	}
	return t, nil
}

// loop is the walk's knots and where they close, within most metres.
func (w *Walk) loop(most float64) (k []knot, c closing, err error) {
	if w.Length() < minLoop {
		return nil, c, &WalkError{Says: fmt.Sprintf("the walk is too short: %.2f m, of %g m at least", w.Length(), float64(minLoop)),
			Try: "Walk all along the edge, back to where you began; a smaller zone is drawn by hand", At: w.at, Place: w.seen > 0}
	}
	k = append(append(k, w.knots...), w.making())
	if c = closeLoop(k, most, w.o.Jitter); c.gap > most {
		a, b := k[c.from].at, k[c.to].at
		return nil, c, &WalkError{Says: fmt.Sprintf("the walk does not close: its end comes no nearer than %.2f m to its begin at (%.2f, %.2f)", c.gap, a.X, a.Y),
			Try: fmt.Sprintf("Walk on until you are back within %.2f m, or allow more by --close", most), At: b, Place: true, After: k[c.to].time}
	}
	return k, c, nil
}

// ring is the loop's outline, without curls.
func (w *Walk) ring(k []knot) ([]zones.XY, error) {
	ring := make([]zones.XY, len(k))
	for i := range k {
		ring[i] = k[i].at
	}
	ring, c := uncurl(ring, curl*w.o.Jitter)
	if c == nil {
		return ring, nil
	}
	first, second := whenAt(k, ring[c.a]), whenAt(k, ring[c.b])
	return nil, &WalkError{Says: fmt.Sprintf("the walk crosses itself, at %.1f s and at %.1f s", first, second),
		Try: "Walk it again without crossing your own way; a zone with a hole is two walks", At: c.at, Place: true}
}

// whenAt is when the walk was nearest to p, s.
func whenAt(k []knot, p zones.XY) float64 {
	best, at := math.Inf(1), 0.0
	for i := range k {
		if d := distance(k[i].at, p); d < best {
			best, at = d, k[i].time.Seconds()
		}
	}
	return at
}

// invalid gives what zones refuses a place.
func (w *Walk) invalid(err error) error {
	var inv *zones.Invalid
	if !errors.As(err, &inv) || len(inv.Problems) == 0 {
		return err
	}
	p := inv.Problems[0]
	return &WalkError{Says: "the walk makes no zone: " + p.Says, Try: p.Try, At: p.At, Place: p.Vertex >= 0}
}

// measure finds how far the walk and the outline are apart, to either side. What
// lies before and after the loop is left out of it where the zone is a keep-in:
// it is the way to the edge. Of a keep-out zone it is not: it may have been
// round a part of what is to be kept out of. The error is for what such a zone
// would leave outside.
func (t *Trace) measure(w *Walk) error {
	ring, out := t.Shape.Rings[0], t.Shape.Kind == zones.KeepOut
	from, to := nearest(w.path, t.Closed[1], false), nearest(w.path, t.Closed[0], true)
	var left zones.XY // the furthest of what would be outside
	worst := 0.0
	for i, p := range w.path {
		loop := i >= from && i <= to
		d, in := fromEdge(ring, p), within(ring, p)
		switch {
		case !loop && !out:
		case in == out:
			t.Safe = math.Max(t.Safe, d)
		default:
			t.Unsafe = math.Max(t.Unsafe, d)
		}
		if !loop && out && !in && d > worst {
			left, worst = p, d
		}
	}
	switch most := mostUnsafe * w.o.Jitter; {
	case worst > most:
		return &WalkError{Says: fmt.Sprintf("part of the walk would be left outside the keep-out zone, by up to %.2f m", worst),
			Try: "Begin at the edge itself and end at the same place; a recording is cut by --begin and --end", At: left, Place: true}
	case t.Unsafe > most:
		return &WalkError{Says: fmt.Sprintf("the outline would allow %.2f m beyond the walk", t.Unsafe), Try: "Walk it again, or give a smaller --jitter"}
	}
	t.Unsafe = math.Max(t.Unsafe, t.Gap/2)
	return nil
}

// nearest is the point of the first, or last, quarter of a path nearest to p.
func nearest(path []zones.XY, p zones.XY, last bool) (at int) {
	from, to := 0, len(path)/3
	if last {
		from, to = len(path)-1-len(path)/3, len(path)-1
	}
	best := math.Inf(1)
	for i := from; i <= to; i++ {
		if d := distance(path[i], p); d < best {
			best, at = d, i
		}
	}
	return at
}

// area is that of a ring, m².
func area(ring []zones.XY) float64 {
	sum := 0.0
	for i, p := range ring {
		sum += turn(ring[0], p, ring[(i+1)%len(ring)])
	}
	return math.Abs(sum) / 2
}

// fromEdge is how far, m, p is from a ring.
func fromEdge(ring []zones.XY, p zones.XY) float64 {
	best := math.Inf(1)
	for i, a := range ring {
		b := ring[(i+1)%len(ring)]
		d := zones.XY{X: b.X - a.X, Y: b.Y - a.Y}
		t := ((p.X-a.X)*d.X + (p.Y-a.Y)*d.Y) / (d.X*d.X + d.Y*d.Y)
		t = max(0, min(1, t))
		x, y := p.X-a.X-t*d.X, p.Y-a.Y-t*d.Y
		best = min(best, x*x+y*y)
	}
	return math.Sqrt(best)
}

// within tells whether p is inside a ring, for measuring only: zones judges.
func within(ring []zones.XY, p zones.XY) (in bool) {
	for i, a := range ring {
		b := ring[(i+1)%len(ring)]
		if (a.Y > p.Y) != (b.Y > p.Y) && p.X < a.X+(p.Y-a.Y)/(b.Y-a.Y)*(b.X-a.X) {
			in = !in
		}
	}
	return in
}
