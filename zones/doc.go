// Package zones answers questions of pure geometry about the pen: is a body
// inside what is allowed, how far is it from the nearest edge, and does the
// volume it sweeps until rest stay inside.
//
// Everything is in metres in the site frame (right-handed, x and y on the
// floor, z up). On the line is outside the allowed space: for a keep-in zone
// the boundary is out, for a keep-out zone the boundary is in.
//
// What may enter: polygons, height bands, signed distance, sweeps, the index
// over edges, validity, GeoJSON in and out. What may not: vehicles, limits,
// time, files, logging. The package imports nothing of this module, starts no
// goroutine, reads no clock, keeps no package variable and ranges over no map.
package zones
