// Package app ties the parts into a running guard: one MQTT connection and one
// event loop a vehicle, one trail a session, and the order in which all of it
// starts and stops.
//
// A loop takes what arrived, steps the core, and carries out the effects in
// the order the core gave them: permits and commands are handed to the link
// before anything is handed to the trail. Nothing in a loop waits for a
// network or a disk. Once a Step has been carried out the loop tells the heart
// that it judged; only then may systemd be told that the guard is alive.
//
// What may enter: wiring, lifecycle, signals, sd_notify. What may not: a
// decision about a vehicle (watchdog), bytes of a message (wire, intake), what
// a person reads (cli).
package app
