package judge

import (
	"errors"
	"fmt"
	"math"
	"time"
)

// Body is an upright cylinder, m.
type Body struct {
	Radius float64
	Below  float64 // reach below its centre
	Above  float64 // reach above
}

// Point is a body's centre, m, site frame: x, y, z.
type Point [3]float64

// Apart looks at two true positions and says how near the bodies came.
type Apart struct {
	a, b    Body
	least   float64 // m, declared
	verdict Met
}

// Met is the word on how near two bodies came. The zero value is no run.
type Met struct {
	Looks   int
	Near    int           // of them, nearer than the declared distance
	Closest float64       // m; negative where they overlap
	At      time.Duration // of the closest, on the clock that Look was given
}

// Kept says whether the two were looked at and never too near.
func (m Met) Kept() bool { return m.Looks > 0 && m.Near == 0 }

// nearSlack is what may be lost in rounding, m: at the distance is not nearer.
const nearSlack = 1e-9

// NewApart makes a judge of two bodies that have to stay least m apart.
func NewApart(a, b Body, least float64) (*Apart, error) {
	for _, x := range []float64{a.Radius, a.Below, a.Above, b.Radius, b.Below, b.Above} {
		if !(x >= 0) || math.IsInf(x, 0) {
			return nil, fmt.Errorf("judge: body size %v m is not a length", x)
		}
	}
	if !(least > 0) || math.IsInf(least, 0) {
		return nil, errors.New("judge: the distance to keep is no length above zero")
	}
	return &Apart{a: a, b: b, least: least, verdict: Met{Closest: math.Inf(1)}}, nil
}

// Look judges the two at p and q and returns the room between them, m. What is
// not finite counts as too near.
func (j *Apart) Look(at time.Duration, p, q Point) float64 {
	gap := Gap(j.a, j.b, p, q)
	v := &j.verdict
	v.Looks++
	if !(gap >= j.least-nearSlack) {
		v.Near++
	}
	if gap < v.Closest {
		v.Closest, v.At = gap, at
	}
	return gap
}

// Verdict is the word so far.
func (j *Apart) Verdict() Met { return j.verdict }

// Gap is the least distance between two upright cylinders, m: between their
// rims on the floor plan, between their ends in height, and the hypotenuse of
// both where one is neither beside nor above the other. It is negative by the
// lesser overlap where they meet, and -Inf where a position is not finite.
func Gap(a, b Body, p, q Point) float64 {
	dx, dy := p[0]-q[0], p[1]-q[1]
	beside := math.Sqrt(dx*dx+dy*dy) - (a.Radius + b.Radius)
	above := math.Max(p[2]-q[2]-(a.Below+b.Above), q[2]-p[2]-(b.Below+a.Above))
	if s := beside + above; math.IsNaN(s) || math.IsInf(s, 0) {
		return math.Inf(-1)
	}
	if beside > 0 && above > 0 {
		return math.Sqrt(beside*beside + above*above)
	}
	return math.Max(beside, above)
}
