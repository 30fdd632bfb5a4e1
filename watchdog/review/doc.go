// Package review looks at what has been: it judges recordings and sessions
// again by the core, and sums up what a trail holds.
//
// What may enter: reading of trails and recordings, replay, summaries. What may
// not: a decision of its own about a vehicle, writing to a trail, terminals.
package review
