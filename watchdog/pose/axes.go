package pose

import "fmt"

// Axes is the set of axes a tracker reports in, for the world and the body
// alike. The zero value is z-up, which is the site's own.
type Axes uint8

// Axis sets. Pinfold's own is z-up: world z up, body x forward, y left, z up
// (REP 103).
const (
	ZUp     Axes = iota // x forward, y left, z up
	YUp                 // x right, y up, −z forward (OpenXR, WebXR)
	NED                 // world north, east, down; body forward, right, down
	Optical             // x right, y down, z forward (camera)
)

// axesNames lists the words of the config, in the order of the constants.
const axesNames = "z-up, y-up, ned, optical"

// ParseAxes reads the word of the config.
func ParseAxes(word string) (Axes, error) {
	for a := ZUp; a <= Optical; a++ {
		if a.String() == word {
			return a, nil
		}
	}
	return 0, fmt.Errorf("axes %q: not one of %s", word, axesNames)
}

// String is the word of the config.
func (a Axes) String() string {
	switch a {
	case ZUp:
		return "z-up"
	case YUp:
		return "y-up"
	case NED:
		return "ned"
	case Optical:
		return "optical"
	}
	return "unknown"
}

// Vec carries a position or velocity from the axes a to z-up. NED becomes
// east, north, up.
func (a Axes) Vec(v Vec) Vec {
	switch a {
	case YUp:
		return Vec{-v.Z, -v.X, v.Y}
	case NED:
		return Vec{v.Y, v.X, -v.Z}
	case Optical:
		return Vec{v.Z, -v.X, -v.Y}
	}
	return v
}

// Quat carries an orientation from the axes a to z-up: world and body axes
// both change, so that no rotation at all in y-up or optical is none in z-up,
// and in ned, where the body then looks north, is a yaw of +90°.
func (a Axes) Quat(q Quat) Quat {
	switch a {
	case YUp:
		return Quat{q.W, -q.Z, -q.X, q.Y}
	case NED:
		// World: half a turn about (1,1,0)/√2. Body: half a turn about x.
		// (0,1,1,0)/√2 · q · conj(0,1,0,0), multiplied out.
		const h = 0.70710678118654752440
		return Quat{h * (q.W + q.Z), h * (q.X + q.Y), h * (q.X - q.Y), h * (q.W - q.Z)}
	case Optical:
		return Quat{q.W, q.Z, -q.X, -q.Y}
	}
	return q
}

// OpticalMount is the rotation from a camera's optical frame (x right, y down,
// z forward) to the body it looks forward from: the mounting of a tracker that
// reports a camera's orientation in a world that is already z-up.
func OpticalMount() Quat { return Quat{0.5, -0.5, 0.5, -0.5} }
