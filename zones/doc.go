// Package zones answers questions of pure geometry about the pen: is a body
// inside what is allowed, how far is it from the nearest edge, and does the
// volume it sweeps until rest stay inside.
//
// Everything is in metres in the site frame (right-handed, x and y on the
// floor, z up). On the line is outside the allowed space: for a keep-in zone
// the boundary is out, for a keep-out zone the boundary is in.
//
// # The pen
//
// The pen is the union of all keep-in zones, in space. Zones that overlap,
// share a wall, or stand on each other are one pen: there is no wall where they
// meet, as far as their height bands do. Where the bands differ the pen is
// looked at in layers, between neighbouring heights at which any of its zones
// begins or ends; within a layer its cross-section is the union of the zones
// that span it. Beside a hall 4 m high stands an annex 2 m high: below 2 m the
// way between them is open, above 2 m there is the hall's wall, and the step
// between counts with its distance in space. Meeting is exact, so zones that
// meet at a slant should overlap a little: a gap of a millimetre is two walls.
// Where walls of several zones cross in one point with zones all around it,
// nothing is left there. Zones that have no point in common are pens apart.
// Keep-out zones are taken out one by one, so that each can be named.
//
// # Clearance
//
// For one keep-in zone, with h the signed distance to the walls less the
// radius, and v the smaller room to floor and ceiling: min(h, v) while both are
// positive, else minus the length of the negative ones. In a pen of several
// zones: the distance in space to the nearest point that is not in it; outside,
// the shortest of the ways back into the layers the body is in, or into one
// zone. For a keep-out: the distance in space between body and prism, so flying
// over a low one is allowed; where they meet, the shorter way out, negative.
//
// The sign for a bare point is exact: decided by Shewchuk's filter and, where
// that cannot tell, without rounding; it does not depend on vertex order, start
// or direction. For all else the clearance is never larger than the truth, and
// smaller by no more than:
//   - rounding: 4e-15 of the largest coordinate (a body of no size at rest: none);
//   - where a keep-out, or layers of different outline, and a change in height
//     come together: the lesser of that change, and of the way and growth,
//     since height and floor plan are each taken at their worst along the way;
//   - where the centre line leaves the allowed space, so that the answer is
//     negative: 1 mm, or 1 % of the way and the growth together.
//
// A negative clearance is at least as deep as the deepest point of the body.
//
// A body that is judged again and again may be asked about with a Last, which
// remembers what was far away. As the index over walls and zones does, it makes
// answers sooner and changes none, bit for bit.
//
// # What may enter
//
// Polygons, height bands, signed distance, sweeps, the index over edges,
// validity, GeoJSON in and out. What may not: vehicles, limits, time, files,
// logging. The package imports nothing of this module, starts no goroutine,
// reads no clock, keeps no package variable and ranges over no map.
package zones
