package judge

import "math"

// Place is the part of a pen's boundary that is nearest to a body.
type Place struct {
	Region string
	Edge   int // index of the edge, the outer ring's first and then the holes'; Floor or Ceiling
}

// Edges that are none of a ring.
const (
	Floor   = -1
	Ceiling = -2
)

// Nearest is the least room of a body at (x, y, z), as Room, and to what. Where
// the body stands in the overlap of two keep-in regions it names the edge of the
// one that gives it the most room.
func (j *Judge) Nearest(x, y, z float64) (room float64, at Place) {
	room = math.Inf(-1)
	for _, r := range j.pen.Inside {
		d, edge := r.nearest(x, y)
		if !r.inside(x, y) {
			d = -d
		}
		d -= j.pen.Radius
		if low := z - j.pen.Below - r.Floor; low < d {
			d, edge = low, Floor
		}
		if high := r.Ceiling - z - j.pen.Above; high < d {
			d, edge = high, Ceiling
		}
		if d > room {
			room, at = d, Place{r.Name, edge}
		}
	}
	if room <= 0 && len(j.pen.Inside) > 1 {
		room, _ = j.overlapping(x, y, z, at.Region)
	}
	for _, r := range j.pen.Outside {
		if d := j.clear(r, x, y, z); d < room {
			_, edge := r.nearest(x, y)
			switch wall := -r.signed(x, y) - j.pen.Radius; {
			case z-j.pen.Below-r.Ceiling > wall:
				edge = Ceiling
			case r.Floor-z-j.pen.Above > wall:
				edge = Floor
			}
			room, at = d, Place{r.Name, edge}
		}
	}
	return room, at
}

// nearest is the distance in the plane to the nearest edge of any ring, m, and
// which one that is.
func (r Region) nearest(x, y float64) (d float64, edge int) {
	d = math.Inf(1)
	n := 0
	for k := -1; k < len(r.Holes); k++ {
		ring := r.Outer
		if k >= 0 {
			ring = r.Holes[k]
		}
		for i := range ring {
			if e := math.Sqrt(segmentSquare(ring[i], ring[(i+1)%len(ring)], x, y)); e < d {
				d, edge = e, n+i
			}
		}
		n += len(ring)
	}
	return d, edge
}
