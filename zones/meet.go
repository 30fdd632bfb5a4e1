package zones

import "math"

// meeting is how two segments stand to each other.
type meeting uint8

const (
	apart    meeting = iota
	touching         // they share one point, an end of one of them
	crossing         // they share one point, inside both
	overlap          // they share more than a point
)

// meet tells exactly how the segments from a to b and from c to d meet, and
// where: exactly for touching, to rounding for crossing, at one end of the
// shared part for overlap.
func meet(a, b, c, d XY) (meeting, XY) {
	o1 := orient(a.X, a.Y, b.X, b.Y, c.X, c.Y)
	o2 := orient(a.X, a.Y, b.X, b.Y, d.X, d.Y)
	if o1*o2 > 0 {
		return apart, XY{}
	}
	if o1 == 0 && o2 == 0 {
		return meetInLine(a, b, c, d)
	}
	o3 := orient(c.X, c.Y, d.X, d.Y, a.X, a.Y)
	o4 := orient(c.X, c.Y, d.X, d.Y, b.X, b.Y)
	switch {
	case o3*o4 > 0:
		return apart, XY{}
	case o1 == 0 && inBox(a, b, c):
		return touching, c
	case o2 == 0 && inBox(a, b, d):
		return touching, d
	case o3 == 0 && inBox(c, d, a):
		return touching, a
	case o4 == 0 && inBox(c, d, b):
		return touching, b
	case o1*o2 < 0 && o3*o4 < 0:
		return crossing, crossPoint(a, b, c, d)
	}
	return apart, XY{}
}

func meetInLine(a, b, c, d XY) (meeting, XY) {
	if after(a, b) {
		a, b = b, a
	}
	if after(c, d) {
		c, d = d, c
	}
	from, to := a, b
	if after(c, from) {
		from = c
	}
	if after(to, d) {
		to = d
	}
	switch {
	case from == to:
		return touching, from
	case after(from, to):
		return apart, XY{}
	}
	return overlap, from
}

// after orders points by x, then y.
func after(a, b XY) bool { return a.X > b.X || a.X == b.X && a.Y > b.Y }

// inBox tells whether p, on the line through a and b, lies between them.
func inBox(a, b, p XY) bool {
	return p.X >= math.Min(a.X, b.X) && p.X <= math.Max(a.X, b.X) && p.Y >= math.Min(a.Y, b.Y) && p.Y <= math.Max(a.Y, b.Y)
}

// crossPoint is where two segments that properly cross do so, to rounding. It
// is the same point whichever comes first and however each is directed.
func crossPoint(a, b, c, d XY) XY {
	if after(a, b) {
		a, b = b, a
	}
	if after(c, d) {
		c, d = d, c
	}
	if after(a, c) || a == c && after(b, d) {
		a, b, c, d = c, d, a, b
	}
	ux, uy, vx, vy := b.X-a.X, b.Y-a.Y, d.X-c.X, d.Y-c.Y
	det := float64(ux*vy) - float64(uy*vx)
	if det == 0 {
		return a
	}
	t := math.Min(1, math.Max(0, (float64((c.X-a.X)*vy)-float64((c.Y-a.Y)*vx))/det))
	return XY{a.X + float64(t*ux), a.Y + float64(t*uy)}
}
