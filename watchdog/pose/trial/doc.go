// Package trial puts faults into a recording of good poses and measures
// whether, and how fast, a track notices them, and whether it is alarmed where
// nothing is wrong.
//
// What may enter: faults a tracker or its link can have, and the counting of
// what a Track says to them. What may not: anything the daemon needs while it
// runs; it does not import this package. Draws are seeded: the same seed gives
// the same table.
package trial
