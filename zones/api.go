package zones

// Kind says on which side of its boundary a zone wants the vehicle.
type Kind uint8

// The zero Kind is no kind at all, so that a forgotten field is refused.
const (
	KeepIn  Kind = iota + 1 // the vehicle must stay inside
	KeepOut                 // the vehicle must stay outside
)

// String gives the word used in GeoJSON and in messages.
func (k Kind) String() string {
	switch k {
	case KeepIn:
		return "keep-in"
	case KeepOut:
		return "keep-out"
	}
	return "no kind"
}

// XY is a point on the floor plan, metres, site frame.
type XY struct{ X, Y float64 }

// XYZ is a point in the room, metres, site frame, z up.
type XYZ struct{ X, Y, Z float64 }

// Shape is one zone as declared: a polygon with holes, extruded over a height
// band. Rings[0] is the outer ring, the others are holes; the closing vertex
// may be given or left out; either winding is taken (RFC 7946 §3.1.6).
type Shape struct {
	Name     string
	Kind     Kind
	Floor    float64 // m, lower end of the height band
	Ceiling  float64 // m, upper end, above Floor
	Rings    [][]XY
	Vehicles []string // the vehicles it is for; empty: all. Set does not look at it
}

// Sweep is the over-approximation of where a body can be from now until rest:
// an upright cylinder carried in a straight line from From to To, its radius
// growing evenly from Radius to Radius+Grow. A body at rest has From == To and
// Grow == 0; a bare point has all of Radius, Grow, Below and Above zero.
type Sweep struct {
	From, To XYZ     // m, the body's centre now and at rest
	Radius   float64 // m, >= 0, horizontal half width at From
	Grow     float64 // m, >= 0, what the radius gains on the way to To
	Below    float64 // m, >= 0, how far the body reaches below its centre
	Above    float64 // m, >= 0, how far above
}

// Face is the part of a zone's boundary that is nearest.
type Face uint8

const (
	NoFace    Face = iota
	Wall           // an edge of a ring
	FloorFace      // the lower end of the height band
	CeilFace       // the upper end
)

// String gives the word used in messages.
func (f Face) String() string {
	switch f {
	case Wall:
		return "wall"
	case FloorFace:
		return "floor"
	case CeilFace:
		return "ceiling"
	}
	return "none"
}

// Hit is how one subject, the pen as a whole or one keep-out, stands to a
// sweep. The pen is the union of all keep-in zones.
type Hit struct {
	// Clearance is the room left, metres: positive while the sweep keeps
	// clear, zero on the line, negative by the depth of the deepest point
	// outside the allowed space. For a bare point outside a keep-in zone it is
	// -hypot(horizontal distance to the polygon, height past the band).
	// Minus infinity: nothing is known or nothing is allowed (a sweep that is
	// not finite, a Set without a keep-in zone). For a body with a width the
	// depth is how far it would have to move back, which is at least the depth
	// of its deepest point.
	Clearance float64
	Zone      int  // index into Set.Shapes of the zone whose boundary is nearest; -1 for none
	Pen       bool // the subject is the pen; otherwise it is keep-out Zone
	Face      Face
	Edge      int // index of the edge within the zone, counted over the rings of Set.Shapes; -1 for a floor or ceiling
	Nearest   XYZ // m, the nearest point of the boundary, for display
}
