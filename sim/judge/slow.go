package judge

import (
	"fmt"
	"math"
	"time"
)

// Slow looks at the true position and speed of a body, and says whether it was
// faster than a limit while any of it was inside a region.
type Slow struct {
	body    Judge // for its geometry
	region  Region
	limit   float64 // m/s
	verdict Pace
}

// Pace is the word on how fast a body was inside. The zero value is no run.
type Pace struct {
	Looks  int
	Inside int           // of them, with any of the body inside
	Over   int           // of those, faster than the limit
	Worst  float64       // m/s, highest speed inside; 0 where it never was inside
	At     time.Duration // of that, on the clock that Look was given
}

// Kept says whether the body was looked at and never too fast inside.
func (p Pace) Kept() bool { return p.Looks > 0 && p.Over == 0 }

// paceSlack is what may be lost in rounding, m/s: at the limit is within it.
const paceSlack = 1e-9

// NewSlow makes a judge of a body that may be no faster than limit m/s in a
// region.
func NewSlow(b Body, r Region, limit float64) (*Slow, error) {
	for _, x := range []float64{b.Radius, b.Below, b.Above, limit} {
		if !(x >= 0) || math.IsInf(x, 0) {
			return nil, fmt.Errorf("judge: %v is no body size and no speed limit", x)
		}
	}
	if err := r.check(); err != nil {
		return nil, err
	}
	return &Slow{body: Judge{pen: Pen{Radius: b.Radius, Below: b.Below, Above: b.Above}}, region: r, limit: limit}, nil
}

// Look judges the body with its centre at p, moving over the floor plan at speed
// m/s. What is not finite is inside and too fast.
func (j *Slow) Look(at time.Duration, p Point, speed float64) {
	v := &j.verdict
	v.Looks++
	if j.body.clear(j.region, p[0], p[1], p[2]) >= 0 { // on the line is not inside
		return
	}
	v.Inside++
	if !(speed <= j.limit+paceSlack) {
		v.Over++
		if math.IsNaN(speed) {
			speed = math.Inf(1)
		}
	}
	if speed > v.Worst {
		v.Worst, v.At = speed, at
	}
}

// Verdict is the word so far.
func (j *Slow) Verdict() Pace { return j.verdict }
