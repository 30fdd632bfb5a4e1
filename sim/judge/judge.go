package judge

import (
	"errors"
	"fmt"
	"math"
	"time"
)

// Pen is what the judge is told, as plain numbers.
type Pen struct {
	Inside  []Region // the body must be inside the union of these
	Outside []Region // and meet none of these
	Radius  float64  // m, the body is an upright cylinder
	Below   float64  // m, reach below its centre
	Above   float64  // m, reach above
}

// Breach is the deepest point reached outside the allowed space.
type Breach struct {
	Depth float64       // m, above zero where there was one
	At    time.Duration // on the clock that Look was given
	Where string        // the region's name
}

// Verdict is the judge's word on a whole run. The zero value is no run, and
// Stayed is false for it.
type Verdict struct {
	Looks    int     // positions judged
	Outside  int     // of them, outside the allowed space
	Deepest  Breach  // zero where it stayed
	Closest  float64 // m, least room there was; negative by the depth of a breach
	Finished bool    // the run was judged to its end
}

// Stayed says whether the vehicle was seen, to the end, and never outside.
func (v Verdict) Stayed() bool { return v.Finished && v.Looks > 0 && v.Outside == 0 }

// Judge looks at true positions.
type Judge struct {
	pen     Pen
	verdict Verdict
}

// rim is the number of points of the body's circle that are looked at where
// no single keep-in region holds the whole body; the part of the circle missed
// between two is radius·(1-cos(π/rim)), 0.12 % of the radius.
const rim = 64

// New makes a judge. It refuses a pen it could not judge: no keep-in region, a
// ring of fewer than three corners, a number that is not finite.
func New(p Pen) (*Judge, error) {
	if len(p.Inside) == 0 {
		return nil, errors.New("judge: no keep-in region; nothing would be inside")
	}
	for _, x := range []float64{p.Radius, p.Below, p.Above} {
		if !(x >= 0) || math.IsInf(x, 0) {
			return nil, fmt.Errorf("judge: body size %v m is not a length", x)
		}
	}
	for _, r := range append(append([]Region{}, p.Inside...), p.Outside...) {
		if err := r.check(); err != nil {
			return nil, err
		}
	}
	return &Judge{pen: p, verdict: Verdict{Closest: math.Inf(1)}}, nil
}

func (r Region) check() error {
	if !(r.Floor < r.Ceiling) || math.IsInf(r.Floor, 0) || math.IsInf(r.Ceiling, 0) {
		return fmt.Errorf("judge: region %q: height band %v..%v m", r.Name, r.Floor, r.Ceiling)
	}
	for _, ring := range append([][][2]float64{r.Outer}, r.Holes...) {
		if len(ring) < 3 {
			return fmt.Errorf("judge: region %q: a ring of %d corners", r.Name, len(ring))
		}
		for _, c := range ring {
			if s := c[0] + c[1]; math.IsNaN(s) || math.IsInf(s, 0) {
				return fmt.Errorf("judge: region %q: corner %v", r.Name, c)
			}
		}
	}
	return nil
}

// Look judges the body's centre at (x, y, z), m, site frame, and returns the
// room there. A position that is not finite counts as outside.
func (j *Judge) Look(at time.Duration, x, y, z float64) float64 {
	room, where := j.room(x, y, z)
	v := &j.verdict
	v.Looks++
	v.Closest = math.Min(v.Closest, room)
	if room <= 0 { // on the line is outside
		v.Outside++
		if depth := math.Max(-room, math.SmallestNonzeroFloat64); depth > v.Deepest.Depth {
			v.Deepest = Breach{depth, at, where}
		}
	}
	return room
}

// Room is the least distance from the body to the edge of the allowed space,
// m: zero on the line, negative by the depth outside. Where keep-in regions
// overlap and the body is inside one of them, it is the room in that one: never
// more than the truth.
func (j *Judge) Room(x, y, z float64) float64 {
	r, _ := j.room(x, y, z)
	return r
}

// Verdict is the word on the run so far; finished says that it ends here.
func (j *Judge) Verdict(finished bool) Verdict {
	v := j.verdict
	v.Finished = finished
	return v
}

func (j *Judge) room(x, y, z float64) (float64, string) {
	if s := x + y + z; math.IsNaN(s) || math.IsInf(s, 0) {
		return math.Inf(-1), "position not finite"
	}
	room, where := j.inPen(x, y, z)
	for _, r := range j.pen.Outside {
		if d := j.clear(r, x, y, z); d < room {
			room, where = d, r.Name
		}
	}
	return room, where
}

// inPen is the room to the edge of the keep-in regions' union.
func (j *Judge) inPen(x, y, z float64) (float64, string) {
	best, where := math.Inf(-1), ""
	for _, r := range j.pen.Inside {
		wall := r.signed(x, y) - j.pen.Radius
		band := math.Min(z-j.pen.Below-r.Floor, r.Ceiling-z-j.pen.Above)
		d := math.Min(wall, band)
		if wall < 0 && band < 0 { // beside it and above, or below: as far as from its edge
			d = -math.Hypot(wall, band)
		}
		if d > best {
			best, where = d, r.Name
		}
	}
	if best > 0 || len(j.pen.Inside) == 1 {
		return best, where
	}
	return j.overlapping(x, y, z, where)
}

// discs are how many circles, evenly apart, the body's cross-section is looked
// at on, its rim the widest.
const discs = 3

// overlapping looks at points of the body one by one, for a body that no
// single region holds.
func (j *Judge) overlapping(x, y, z float64, where string) (float64, string) {
	worst := math.Inf(1)
	for i := range 1 + discs*rim {
		px, py := x, y
		if i > 0 {
			s, c := math.Sincos(2 * math.Pi * float64(i) / rim)
			r := j.pen.Radius * float64(1+(i-1)/rim) / discs
			px, py = x+c*r, y+s*r
		}
		worst = min(worst, j.column(px, py, [3]float64{z - j.pen.Below, z, z + j.pen.Above}))
	}
	return worst, where
}

// column is how far the worst of three points above one another is inside the
// union (the most that any one region gives), or outside of it.
func (j *Judge) column(x, y float64, z [3]float64) float64 {
	best := [3]float64{math.Inf(-1), math.Inf(-1), math.Inf(-1)}
	for _, r := range j.pen.Inside {
		wall := r.signed(x, y)
		for i := range z {
			band := min(z[i]-r.Floor, r.Ceiling-z[i])
			d := min(wall, band)
			if wall < 0 && band < 0 {
				d = -math.Hypot(wall, band)
			}
			best[i] = max(best[i], d)
		}
	}
	return min(best[0], best[1], best[2])
}

// clear is the distance from the body to a keep-out region.
func (j *Judge) clear(r Region, x, y, z float64) float64 {
	wall := -r.signed(x, y) - j.pen.Radius
	band := math.Max(r.Floor-(z+j.pen.Above), (z-j.pen.Below)-r.Ceiling)
	if wall > 0 && band > 0 {
		return math.Hypot(wall, band)
	}
	return math.Max(wall, band)
}
