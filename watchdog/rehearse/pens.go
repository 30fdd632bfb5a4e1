package rehearse

import (
	"fmt"
	"math"

	"pinfold/sim"
	"pinfold/sim/judge"
	"pinfold/zones"
)

// pen is one pen told twice: to the core as zones, to the judge as numbers.
type pen struct {
	set     *zones.Set
	judged  judge.Pen // without a body
	flies   bool
	targets []target
}

// maxTries bounds how often something random is drawn again.
const maxTries = 64

// drawPen draws a concave pen some scale m wide, with holes, further keep-ins
// and keep-outs. It draws again where the zones refuse it.
func drawPen(rng *dice, scale float64, flies bool) (*pen, error) {
	var last error
	for range maxTries {
		p := &pen{flies: flies, judged: drawRegions(rng, scale, flies)}
		if p.set, last = zones.New(shapesOf(&p.judged)); last == nil {
			p.targets = targets(&p.judged, flies, true)
			return p, nil
		}
	}
	return nil, fmt.Errorf("no pen in %d draws: %w", maxTries, last)
}

// below is where what stands on the ground begins, m.
const below = -20

func drawRegions(rng *dice, scale float64, flies bool) (p judge.Pen) {
	high := func(least float64) float64 {
		if !flies {
			return 2
		}
		return scale * (least + float64(0.5*rng.Float64()))
	}
	main := judge.Region{Name: "main", Outer: star(rng, 0, 0, scale/2, 3+rng.IntN(11), 0.45), Floor: below, Ceiling: high(0.4)}
	for range rng.IntN(3) {
		a, d := rng.Float64()*2*math.Pi, scale*span(rng, 0.1, 0.3)
		main.Holes = append(main.Holes, star(rng, d*math.Cos(a), d*math.Sin(a), scale*span(rng, 0.01, 0.05), 3+rng.IntN(4), 0.2))
	}
	p.Inside = append(p.Inside, main)
	for i := range rng.IntN(3) {
		a := rng.Float64() * 2 * math.Pi
		r := judge.Region{Name: fmt.Sprintf("annex %d", i+1), Floor: below, Ceiling: high(0.3),
			Outer: star(rng, scale*0.4*math.Cos(a), scale*0.4*math.Sin(a), scale*span(rng, 0.15, 0.4), 3+rng.IntN(7), 0.4)}
		if flies && rng.IntN(3) == 0 {
			r.Floor = r.Ceiling * 0.3 * rng.Float64()
		}
		p.Inside = append(p.Inside, r)
	}
	for i := range rng.IntN(4) {
		a, d := rng.Float64()*2*math.Pi, scale*0.45*rng.Float64()
		r := judge.Region{Name: fmt.Sprintf("post %d", i+1), Floor: below, Ceiling: 2,
			Outer: star(rng, d*math.Cos(a), d*math.Sin(a), scale*span(rng, 0.005, 0.065), 3+rng.IntN(6), 0.3)}
		if flies {
			r.Ceiling = scale * span(rng, 0.1, 0.9)
			if rng.IntN(3) == 0 { // hangs from above
				r.Floor, r.Ceiling = scale*0.3*rng.Float64(), 3*scale
			}
		}
		p.Outside = append(p.Outside, r)
	}
	return p
}

// star is a ring of n corners about (x, y), the nearest of them at least the
// share 1-dent of radius away.
func star(rng *dice, x, y, radius float64, n int, dent float64) [][2]float64 {
	ring := make([][2]float64, n)
	from := rng.Float64() * 2 * math.Pi
	for i := range ring {
		a := from + 2*math.Pi*(float64(i)+0.6*(rng.Float64()-0.5))/float64(n)
		r := radius * (1 - dent*rng.Float64())
		ring[i] = [2]float64{mm(x + r*math.Cos(a)), mm(y + r*math.Sin(a))}
	}
	return ring
}

// mm rounds to millimetres: what a person would write down.
func mm(x float64) float64 { return math.Round(x*1000) / 1000 }

// shapesOf tells the core what the judge is told.
func shapesOf(p *judge.Pen) (all []zones.Shape) {
	add := func(r *judge.Region, k zones.Kind) {
		s := zones.Shape{Name: r.Name, Kind: k, Floor: r.Floor, Ceiling: r.Ceiling}
		for i := -1; i < len(r.Holes); i++ {
			ring := r.Outer
			if i >= 0 {
				ring = r.Holes[i]
			}
			var xy []zones.XY
			for _, c := range ring {
				xy = append(xy, zones.XY{X: c[0], Y: c[1]})
			}
			s.Rings = append(s.Rings, xy)
		}
		all = append(all, s)
	}
	for i := range p.Inside {
		add(&p.Inside[i], zones.KeepIn)
	}
	for i := range p.Outside {
		add(&p.Outside[i], zones.KeepOut)
	}
	return all
}

// regionsOf tells the judge what the core was told.
func regionsOf(shapes []zones.Shape) (p judge.Pen) {
	for i := range shapes {
		s := &shapes[i]
		r := judge.Region{Name: s.Name, Floor: s.Floor, Ceiling: s.Ceiling}
		for k, ring := range s.Rings {
			var c [][2]float64
			for _, xy := range ring {
				c = append(c, [2]float64{xy.X, xy.Y})
			}
			if k == 0 {
				r.Outer = c
			} else {
				r.Holes = append(r.Holes, c)
			}
		}
		if s.Kind == zones.KeepIn {
			p.Inside = append(p.Inside, r)
		} else {
			p.Outside = append(p.Outside, r)
		}
	}
	return p
}

// room is the least room of the body with its centre at a point, m.
func (p *pen) room(at sim.Vec) float64 {
	j, err := judge.New(p.judged)
	if err != nil {
		return math.Inf(-1)
	}
	return j.Room(at.X, at.Y, at.Z)
}
