// Package survey ties the tracker to the room and measures the room with it:
// marks and pads a vehicle stands still on, the drift at a session's end, and a
// walk along an edge that becomes a zone.
//
// What may enter: what turns samples of a tracker into alignments, drifts and
// zones, one sample at a time, without a terminal, a clock, a broker or a file.
// What may not: judgement of a moving vehicle, printing.
package survey
