package config

import (
	"math"

	"pinfold/zones"
)

// Heights in the site frame have the floor at z = 0. A zone that begins at or
// below it stands on the floor: nothing is between the two. What that means:
//
//   - A keep-in zone is judged to reach the ground allowance below the floor,
//     so that a vehicle that has landed, and whose tracker reads a little low,
//     is still inside; the floor itself bounds what the vehicle can reach
//     (watchdog.Config.Ground).
//   - A keep-out zone is judged to reach deepOut below it, so that nothing
//     slips under.
//
// A zone that begins above the floor is judged exactly as written. So is a
// keep-in zone that begins more than maxSunk below it: that is a pit or a
// frame with another origin, and no floor at z = 0 is then assumed.
const (
	maxSunk = 1.0  // m
	deepOut = 10.0 // m
)

// onFloor says whether a keep-in zone stands on the floor.
func onFloor(s zones.Shape) bool { return s.Floor <= 0 && s.Floor >= -maxSunk }

// Grounded gives shapes as they are judged, with the ground allowance, m, and
// whether the floor bounds what the vehicle can reach.
func Grounded(shapes []zones.Shape, allowance float64) (judged []zones.Shape, hasGround bool) {
	sunk := false
	for _, s := range shapes {
		switch {
		case s.Kind == zones.KeepOut && s.Floor <= 0:
			s.Floor = math.Min(s.Floor, -deepOut)
		case s.Kind == zones.KeepIn && onFloor(s):
			s.Floor = math.Min(s.Floor, -allowance)
			hasGround = true
		case s.Kind == zones.KeepIn && s.Floor < 0:
			sunk = true
		}
		judged = append(judged, s)
	}
	return judged, hasGround && !sunk
}

// bottomless gives judged shapes with what stands on the floor drawn down
// without end: where the floor bounds the reach, no room is to be kept below.
func bottomless(shapes []zones.Shape) []zones.Shape {
	var out []zones.Shape
	for _, s := range shapes {
		switch {
		case s.Kind == zones.KeepOut && s.Floor <= 0:
			s.Floor = -zones.MaxCoordinate
		case s.Kind == zones.KeepIn && onFloor(s):
			s.Floor = -zones.MaxCoordinate
		}
		out = append(out, s)
	}
	return out
}
