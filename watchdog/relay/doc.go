// Package relay is a vehicle's half for a board whose motor controller knows
// nothing of MQTT: it holds the permit (package receiver) and drives one output,
// which must be active for the motors to run.
//
// What each output does when the relay itself fails decides whether it may be
// trusted with a vehicle:
//
//   - A GPIO line (GPIO) is let go of by the kernel when the process dies; a
//     resistor on the board must pull it to the side that halts. A process that
//     is stopped but not dead holds the line as it was, unless it is a pulse: then
//     it is the edges that keep the motors running, and there are none any more.
//   - A child process (Feed) is told by lines on its standard input, again and
//     again, and reads the end of the file when the relay dies. It halts on either:
//     the end, or no line for too long.
//   - A command (Run) is run on every change. A relay that is dead runs none, so it
//     halts nothing: for indication only, or where something else halts too.
//
// What may enter: the loop that asks the receiver, and outputs. What may not: any
// judgement of its own, sites, poses.
package relay
