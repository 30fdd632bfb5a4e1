package judge

import "math"

// Region is a polygon with holes, extruded over a height band, metres, site
// frame. The closing vertex may be given or left out.
type Region struct {
	Name    string
	Outer   [][2]float64
	Holes   [][][2]float64
	Floor   float64 // m
	Ceiling float64 // m
}

// inside says whether (x, y) lies inside the outer ring and in no hole, by
// counting the crossings of a ray towards +x. The line itself is not looked at
// here: distance decides there.
func (r Region) inside(x, y float64) bool {
	if crossings(r.Outer, x, y)%2 == 0 {
		return false
	}
	for _, h := range r.Holes {
		if crossings(h, x, y)%2 == 1 {
			return false
		}
	}
	return true
}

// crossings counts the edges of a ring that the ray from (x, y) towards +x
// crosses; an edge owns its lower end.
func crossings(ring [][2]float64, x, y float64) int {
	n := 0
	for i := range ring {
		a, b := ring[i], ring[(i+1)%len(ring)]
		if (a[1] > y) == (b[1] > y) {
			continue
		}
		if x < a[0]+(y-a[1])*(b[0]-a[0])/(b[1]-a[1]) {
			n++
		}
	}
	return n
}

// edge is the distance in the plane from (x, y) to the nearest edge of any
// ring, m; infinite for a region without edges.
func (r Region) edge(x, y float64) float64 {
	d := ringSquare(r.Outer, x, y)
	for _, h := range r.Holes {
		d = min(d, ringSquare(h, x, y))
	}
	return math.Sqrt(d)
}

// ringSquare is the square of the distance to the nearest edge of a ring, m².
func ringSquare(ring [][2]float64, x, y float64) float64 {
	d := math.Inf(1)
	for i := range ring {
		k := i + 1
		if k == len(ring) {
			k = 0
		}
		d = min(d, segmentSquare(ring[i], ring[k], x, y))
	}
	return d
}

// segmentSquare is the square of the distance from (x, y) to the segment a-b.
func segmentSquare(a, b [2]float64, x, y float64) float64 {
	ux, uy := b[0]-a[0], b[1]-a[1]
	t := 0.0
	if l := ux*ux + uy*uy; l > 0 {
		t = ((x-a[0])*ux + (y-a[1])*uy) / l
		t = max(0, min(1, t))
	}
	dx, dy := x-(a[0]+t*ux), y-(a[1]+t*uy)
	return dx*dx + dy*dy
}

// signed is the distance in the plane to the region's edge, m: positive
// inside, negative outside.
func (r Region) signed(x, y float64) float64 {
	d := r.edge(x, y)
	if !r.inside(x, y) {
		return -d
	}
	return d
}
