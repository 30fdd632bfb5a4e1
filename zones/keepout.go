package zones

import "math"

// keepOut is one keep-out zone: a prism the body must not meet.
type keepOut struct {
	zone           int32
	floor, ceiling float64
	area           *area
}

// judge is the clearance of the body from the prism, as far as it is within
// limit; false: it is further away.
//
// While the body is beside, above or below the prism this is the distance of
// the two in space. Where it meets the prism it is the shorter way out,
// sideways or in height, negative.
func (k *keepOut) judge(q *query, limit float64, h *Hit) bool {
	v, face := k.floor-q.zhi, FloorFace
	if up := q.zlo - k.ceiling; up > v {
		v, face = up, CeilFace
	}
	v -= q.slack
	if v > limit || k.area.apart(q) > limit {
		return false
	}
	f := k.area.keep(q, -1, limit)
	if f.wall < 0 {
		return false
	}
	c := max(f.h, v)
	if f.h > 0 && v > 0 {
		c = math.Sqrt(float64(f.h*f.h) + float64(v*v))
	}
	if c > limit {
		return false
	}
	*h = Hit{Clearance: c + 0, Zone: int(k.zone)}
	if v > 0 && f.h <= 0 || v <= 0 && f.h <= 0 && v > f.h {
		k.faceHit(q, face, &f, h)
	} else {
		k.area.wallHit(&f, k.floor, k.ceiling, q, h)
	}
	return true
}

func (k *keepOut) faceHit(q *query, face Face, f *flat, h *Hit) {
	h.Face, h.Edge = face, -1
	h.Nearest = XYZ{f.x, f.y, k.floor}
	if face == CeilFace {
		h.Nearest.Z = k.ceiling
	}
}

// apart is a lower bound of the clearance on the floor plan, its rounding
// included: the distance of the boxes less the radius. Inside the box it is
// minus infinity.
func (a *area) apart(q *query) float64 {
	dx := max(0, max(a.lo.X-q.hix, q.lox-a.hi.X))
	dy := max(0, max(a.lo.Y-q.hiy, q.loy-a.hi.Y))
	if dx == 0 && dy == 0 {
		return math.Inf(-1)
	}
	return math.Sqrt(float64(dx*dx)+float64(dy*dy)) - q.r - q.g - float64(2*roundoff*max(a.scale, q.size))
}

// wallHit fills in the nearest wall, at the body's height or the end of the
// band lo to hi nearest to it.
func (a *area) wallHit(f *flat, lo, hi float64, q *query, h *Hit) {
	t := &a.tags[f.wall]
	s := &a.walls[f.wall]
	h.Face, h.Zone, h.Edge = Wall, int(a.zone[t.part]), int(t.edge)
	h.Nearest.X, h.Nearest.Y = s.point(s.at(f.x, f.y))
	h.Nearest.Z = min(hi, max(lo, (q.zlo+q.zhi)/2))
}
