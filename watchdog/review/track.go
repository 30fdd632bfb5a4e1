package review

import (
	"math"

	"pinfold/watchdog"
)

// Bounds of what a report keeps of a track, whatever its length.
const (
	Buckets   = 1200 // stretches of time, each with its extremes
	maxPoints = 9000 // of the path drawn
	pathStep  = 0.01 // m; what moved less is not drawn
)

// moment is one judged pose.
type moment struct {
	t                              float64 // s
	x, y, z                        float64
	speed, climb, tilt, turn, dist float64 // limits' units
	clear                          float64 // m, room left before a stop; not finite: unknown
	moving, turning                bool    // speed and climb, or turn, are known
	level                          watchdog.Level
	zone                           int // nearest
}

// Point is one place on the path.
type Point struct {
	T, X, Y, Z float64
	Level      watchdog.Level // as of this point
}

// Range is the extremes of one value within a bucket; None where it was never
// known there.
type Range struct {
	Min, Max float64
	None     bool
}

func (r *Range) add(v float64) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return
	}
	if r.None {
		*r = Range{Min: v, Max: v}
		return
	}
	r.Min, r.Max = min(r.Min, v), max(r.Max, v)
}

// Track is one vehicle's way, thinned so that extremes are kept: every bucket
// of time has the smallest and largest of each value, and the path has every
// bucket's extremes of place and every change of level.
type Track struct {
	Width     float64 // s of one bucket
	Height    []Range
	Speed     []Range
	Tilt      []Range
	Clearance []Range
	Path      []Point
	LevelAt   []LevelFrom
}

// hold fills stretches of at most patience, s, in which nothing came with what was
// known before them: so long the guard itself goes by its newest pose.
func (t *Track) hold(patience float64) {
	for _, all := range [][]Range{t.Height, t.Speed, t.Tilt, t.Clearance} {
		for i, since := 1, 0; i < len(all); i++ {
			if !all[i].None {
				since = i
			} else if float64(i-since)*t.Width <= patience {
				all[i] = all[since]
			}
		}
	}
}

// LevelFrom says that a level holds from T on.
type LevelFrom struct {
	T     float64
	Level watchdog.Level
}

// thinner builds a Track from moments in rising time.
type thinner struct {
	track Track
	held  [6]Point // extremes of place in the path's current bucket
	any   bool
	slot  int // the path's bucket
	slots float64
}

func newThinner(duration float64) *thinner {
	th := &thinner{track: Track{Width: max(duration, 1e-3) / Buckets}}
	for _, s := range []*[]Range{&th.track.Height, &th.track.Speed, &th.track.Tilt, &th.track.Clearance} {
		*s = make([]Range, Buckets)
		for i := range *s {
			(*s)[i].None = true
		}
	}
	// A slot gives at most 6 points.
	th.slots = max(duration, 1e-3) / (maxPoints / 6)
	return th
}

func (th *thinner) add(m *moment) {
	i := min(max(int(m.t/th.track.Width), 0), Buckets-1)
	th.track.Height[i].add(m.z)
	th.track.Tilt[i].add(m.tilt)
	th.track.Clearance[i].add(m.clear)
	if m.moving {
		th.track.Speed[i].add(m.speed)
	}
	th.place(Point{T: m.t, X: m.x, Y: m.y, Z: m.z, Level: m.level})
}

// place keeps p where it is an extreme of its slot or the level is new.
func (th *thinner) place(p Point) {
	slot := int(p.T / th.slots)
	if th.any && (slot != th.slot || p.Level != th.held[0].Level) {
		th.flush()
	}
	if !th.any {
		th.any, th.slot = true, slot
		for i := range th.held {
			th.held[i] = p
		}
		return
	}
	for i, worse := range [6]bool{false, p.X < th.held[1].X, p.X > th.held[2].X, p.Y < th.held[3].Y, p.Y > th.held[4].Y, true} {
		if worse {
			th.held[i] = p
		}
	}
}

// flush writes the slot's points in the order of time.
func (th *thinner) flush() {
	if !th.any {
		return
	}
	th.any = false
	h := th.held
	for i := 1; i < len(h); i++ {
		for j := i; j > 0 && h[j].T < h[j-1].T; j-- {
			h[j], h[j-1] = h[j-1], h[j]
		}
	}
	for _, p := range h {
		path := th.track.Path
		if n := len(path); n > 0 {
			q := path[n-1]
			if p.T == q.T || (p.Level == q.Level && math.Hypot(math.Hypot(p.X-q.X, p.Y-q.Y), p.Z-q.Z) < pathStep) {
				continue
			}
		}
		th.track.Path = append(path, p)
	}
}
