// Package walk leads a person who carries a vehicle, its motors off, along every
// edge and limit of its site, and keeps the list of what was shown.
//
// A Plan is the list: every side of every zone, floors and ceilings, slow zones,
// limits; each with where it is in plain words, and why where a hand cannot show
// it. A Walk follows the guard's own snapshots and the commands that came back
// over the broker, says what to do next, and ticks an item off only where the
// guard called a stop for that very item, with the body still on the allowed
// side of it, and the command was heard by a bystander.
//
// A walk shows that the stop is called at that edge. It does not show that the
// vehicle obeys, nor that the edge is drawn where the net hangs: distances are by
// the very tracker that the guard judges by.
//
// The distances are worked out here with arithmetic of its own, on the corners as
// declared; the guard's geometry only says which side of an edge is allowed.
//
// What may enter: the list, its words, what ticks an item off. What may not: a
// terminal, a clock, MQTT, files; judgement of a pose.
package walk
