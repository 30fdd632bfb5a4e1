package rehearse

import (
	"math"

	"pinfold/sim"
	"pinfold/sim/judge"
	"pinfold/watchdog"
)

// target is something to leave by.
type target struct {
	place judge.Place
	a, b  [2]float64 // m, an edge; a corner where equal
	out   sim.Vec    // unit, outwards
	low   float64    // m, height band of the region
	high  float64
	what  aim
}

// aim is the kind of a target.
type aim uint8

const (
	atEdge aim = iota
	atCorner
	atGap
	atCeiling
	atFloor
	atHeight   // the limit of that name
	atDistance // the limit of that name
)

// targets lists everything a pen can be left by. A floor below the ground is
// none.
func targets(p *judge.Pen, flies, grounded bool) []target {
	var all []target
	for _, r := range p.Inside {
		all = ringTargets(all, r, false)
		if !flies {
			continue
		}
		all = append(all, target{place: judge.Place{Region: r.Name, Edge: judge.Ceiling}, out: sim.Vec{Z: 1}, low: r.Floor, high: r.Ceiling, what: atCeiling})
		if !grounded || r.Floor > 0 {
			all = append(all, target{place: judge.Place{Region: r.Name, Edge: judge.Floor}, out: sim.Vec{Z: -1}, low: r.Floor, high: r.Ceiling, what: atFloor})
		}
	}
	for _, r := range p.Outside {
		all = ringTargets(all, r, true)
		if flies {
			all = append(all, target{place: judge.Place{Region: r.Name, Edge: judge.Ceiling}, out: sim.Vec{Z: -1}, low: r.Floor, high: r.Ceiling, what: atFloor})
		}
	}
	return append(all, gaps(p)...)
}

// ringTargets are the edges and corners of a region.
func ringTargets(all []target, r judge.Region, keepOut bool) []target {
	n := 0
	for k := -1; k < len(r.Holes); k++ {
		ring, inwards := r.Outer, keepOut
		if k >= 0 {
			ring, inwards = r.Holes[k], !keepOut
		}
		turn := 1.0 // counter-clockwise: the inside lies to the left
		if area(ring) < 0 {
			turn = -1
		}
		if inwards {
			turn = -turn
		}
		for i := range ring {
			a, b := ring[i], ring[(i+1)%len(ring)]
			dx, dy := b[0]-a[0], b[1]-a[1]
			l := math.Hypot(dx, dy)
			if l == 0 {
				continue
			}
			out := sim.Vec{X: turn * dy / l, Y: -turn * dx / l}
			at := judge.Place{Region: r.Name, Edge: n + i}
			t := target{place: at, a: a, b: b, out: out, low: r.Floor, high: r.Ceiling}
			all = append(all, t)
			t.b, t.what = a, atCorner
			all = append(all, t)
		}
		n += len(ring)
	}
	return all
}

// area is twice the signed area of a ring, m².
func area(ring [][2]float64) (sum float64) {
	for i, a := range ring {
		b := ring[(i+1)%len(ring)]
		sum += a[0]*b[1] - b[0]*a[1]
	}
	return sum
}

// gaps are the ways between two keep-outs, aimed at half way.
func gaps(p *judge.Pen) (all []target) {
	for i := range p.Outside {
		for k := range i {
			a, b := middle(p.Outside[i].Outer), middle(p.Outside[k].Outer)
			dx, dy := b[0]-a[0], b[1]-a[1]
			l := math.Hypot(dx, dy)
			if l == 0 {
				continue
			}
			mid := [2]float64{(a[0] + b[0]) / 2, (a[1] + b[1]) / 2}
			all = append(all, target{place: judge.Place{Region: p.Outside[i].Name}, a: mid, b: mid, out: sim.Vec{X: dy / l, Y: -dx / l},
				low: p.Outside[i].Floor, high: p.Outside[i].Ceiling, what: atGap})
		}
	}
	return all
}

// limitTargets are the limits that can be kept until rest.
func limitTargets(c *watchdog.Config) (all []target) {
	if l := c.Limits[watchdog.LimitHeight]; l.On {
		all = append(all, target{place: judge.Place{Region: "limit of height"}, out: sim.Vec{Z: 1}, high: c.Ground + l.Max, what: atHeight})
	}
	if l := c.Limits[watchdog.LimitDistance]; l.On {
		all = append(all, target{place: judge.Place{Region: "limit of distance"}, a: [2]float64{c.Home.X, c.Home.Y}, high: l.Max, what: atDistance})
	}
	return all
}

func middle(ring [][2]float64) (m [2]float64) {
	for _, p := range ring {
		m[0] += p[0] / float64(len(ring))
		m[1] += p[1] / float64(len(ring))
	}
	return m
}
