// Package console serves the page on which a person watches the vehicles from
// the side of the room, stops them, and asks for a reset and a start.
//
// It only ever looks. A vehicle's loop leaves its newest snapshot in a Screen,
// which never makes it wait; a clock of the console's own makes one frame of all
// of them, at most 20 times a second and only while somebody watches, and each
// browser takes the newest when it is ready for it (Server-Sent Events, HTML
// Living Standard §9.2). What a person asks goes out by Options.Ask as the very
// message it would be on the broker; the core decides, as ever.
//
// Nobody needs the token to watch, stop or land; nobody can start or reset
// without it. Whoever may be at the other end is held to the bounds of limits.go.
//
// What may enter: HTTP, the page (page/, plain files, no build), the encoding of
// frames. What may not: a decision about a vehicle, the broker, the trail's files
// (whoever runs the console passes functions), any address outside.
package console
