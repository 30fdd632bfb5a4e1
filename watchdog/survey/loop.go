package survey

import (
	"math"

	"pinfold/zones"
)

// endPart is the share of a walk, at its begin and at its end, within which it
// is closed: what lies before and after is left out.
const endPart = 0.25

// closing is where a walk meets its own begin.
type closing struct {
	from, to int     // first and last knot of the loop
	gap      float64 // m, between them
}

// gapCosts is how much more a gap counts than as much of the walk left out, of a
// walk that ends where it began: more than one, so that it is cut where it went
// on past its begin, and little, so that it is not cut off at a narrow place that
// it went round.
const gapCosts = 2.0

// closeLoop finds where a walk closes. One that ends within most metres of its
// begin is taken whole, but for what it went on past it. Of any other it is
// where its end comes nearest to its begin, and of all places where that is
// within the jitter the one that leaves out least: before it lies the way to the
// edge, after it the way back.
func closeLoop(k []knot, most, jitter float64) closing {
	all := k[len(k)-1].way
	nearest := closing{gap: math.Inf(1)}
	pairs(k, func(c closing) {
		if c.gap < nearest.gap {
			nearest = c
		}
	})
	limit, cost := math.Max(nearest.gap, 2*jitter), 0.0
	if distance(k[0].at, k[len(k)-1].at) <= most {
		limit, cost = most, gapCosts
	}
	best, least := nearest, math.Inf(1)
	pairs(k, func(c closing) {
		if v := k[c.from].way + all - k[c.to].way + cost*c.gap; c.gap <= limit && v < least {
			best, least = c, v
		}
	})
	return best
}

// pairs gives every two knots of the walk's begin and its end.
func pairs(k []knot, each func(closing)) {
	all := k[len(k)-1].way
	heads, tails := 1, len(k)-1
	for heads < len(k) && k[heads].way <= endPart*all {
		heads++
	}
	for tails > 0 && k[tails-1].way >= (1-endPart)*all {
		tails--
	}
	for i := range heads {
		for j := max(tails, i+1); j < len(k); j++ {
			each(closing{i, j, distance(k[i].at, k[j].at)})
		}
	}
}

// crossing is where a ring meets itself.
type crossing struct {
	at   zones.XY
	a, b int // the edges, by the index of their first corner, a < b
}

// uncurl takes the curls out of a ring that a resting hand left: where it
// meets itself and no part of what lies between is further than most, m, from
// there. It gives the first meeting that is more than a curl.
func uncurl(ring []zones.XY, most float64) ([]zones.XY, *crossing) {
	ring = unspike(ring)
	for a := 0; a < len(ring); a++ {
		for {
			c := meets(ring, a)
			if c == nil {
				break
			}
			inner := extent(ring, c.a+1, c.b, c.at)
			outer := extent(ring, c.b+1, c.a+len(ring), c.at)
			if math.Min(inner, outer) > most {
				return ring, c
			}
			if inner <= outer {
				ring = append(append(append([]zones.XY(nil), ring[:c.a+1]...), c.at), ring[c.b+1:]...)
			} else {
				ring = append([]zones.XY{c.at}, ring[c.a+1:c.b+1]...)
				a = 0
			}
			ring = unspike(ring)
			if a >= len(ring) {
				break
			}
		}
	}
	return ring, nil
}

// extent is how far, m, the corners from to to, counted round, are from p.
func extent(ring []zones.XY, from, to int, p zones.XY) (most float64) {
	for i := from; i <= to; i++ {
		most = math.Max(most, distance(ring[i%len(ring)], p))
	}
	return most
}

// unspike takes out corners that stand twice in a row, and those between two
// equal ones.
func unspike(ring []zones.XY) []zones.XY {
	for again := true; again && len(ring) > 2; {
		again = false
		for i := 0; i < len(ring) && len(ring) > 2; i++ {
			n := len(ring)
			next, after := (i+1)%n, (i+2)%n
			if ring[i] == ring[next] || ring[i] == ring[after] {
				ring = append(append([]zones.XY(nil), ring[:next]...), ring[next+1:]...)
				again = true
			}
		}
	}
	return ring
}

// meets is the first meeting of edge a with a later one that is no neighbour.
func meets(ring []zones.XY, a int) *crossing {
	n := len(ring)
	p, q := ring[a], ring[(a+1)%n]
	for b := a + 2; b < n; b++ {
		if (b+1)%n == a {
			continue
		}
		r, s := ring[b], ring[(b+1)%n]
		if math.Max(r.X, s.X) < math.Min(p.X, q.X) || math.Min(r.X, s.X) > math.Max(p.X, q.X) ||
			math.Max(r.Y, s.Y) < math.Min(p.Y, q.Y) || math.Min(r.Y, s.Y) > math.Max(p.Y, q.Y) {
			continue
		}
		if at, ok := meet(p, q, r, s); ok {
			return &crossing{at, a, b}
		}
	}
	return nil
}

// turn is twice the area of the triangle p, q, r, m²; positive where it turns
// left. Of whole millimetres within 100 km its sign is right but for triangles
// of less than a square micrometre; zones.New has the last word.
func turn(p, q, r zones.XY) float64 {
	return (q.X-p.X)*(r.Y-p.Y) - (q.Y-p.Y)*(r.X-p.X)
}

// meet is where the segments p–q and r–s meet, ends included, to the
// millimetre; ok is false where they do not.
func meet(p, q, r, s zones.XY) (zones.XY, bool) {
	a, b := turn(r, s, p), turn(r, s, q)
	c, d := turn(p, q, r), turn(p, q, s)
	if a == 0 && b == 0 { // on one line: an end of one lies on the other
		for _, e := range []zones.XY{r, s} {
			if between(p, q, e) {
				return e, true
			}
		}
		return p, between(r, s, p)
	}
	if a*b > 0 || c*d > 0 {
		return zones.XY{}, false
	}
	t := a / (a - b)
	return zones.XY{X: math.Round((p.X+t*(q.X-p.X))*1e3) / 1e3, Y: math.Round((p.Y+t*(q.Y-p.Y))*1e3) / 1e3}, true
}

// between tells whether e, on the line of p and q, lies between them.
func between(p, q, e zones.XY) bool {
	return math.Min(p.X, q.X) <= e.X && e.X <= math.Max(p.X, q.X) && math.Min(p.Y, q.Y) <= e.Y && e.Y <= math.Max(p.Y, q.Y)
}
