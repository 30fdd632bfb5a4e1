// Package rehearse runs the real core against simulated vehicles in virtual
// time, and tells whether one of them left its pen.
//
// A Case is one run, drawn from one seed: what is declared (watchdog.Config),
// what is true (Truth), a pilot, a start. Run steps it: plant, tracker, link
// there, watchdog.Guard, link back, the receiver that real vehicles import,
// actuators, brakes. There is no goroutine, no channel and no clock in it, so
// the same seed gives the same run. Whether the vehicle stayed is the word of
// sim/judge alone, which shares no code with the core and is told the pen as
// plain numbers.
//
// What is true stays within what is declared, often in its worst corner, unless
// a Break says which declaration does not hold. So a leak without a Break is a
// fault of the core, or of the model of its assumptions (see watchdog.Reach);
// and a Break without leaks would show that the rehearsal proves nothing.
//
// To be cheap, a run begins in motion, not far from where it has to end, and a
// start is granted to it although it moves and its pose is new: Case.Config has
// another rest speed and no wait. Every sixteenth run of a site begins at rest
// and with the waits of the site file.
//
// What may enter: cases, their drawing, the run, what is counted over many.
// What may not: a terminal, files, real time, MQTT.
package rehearse
