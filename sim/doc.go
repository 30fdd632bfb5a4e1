// Package sim has vehicles, trackers with errors, faults, pilots and the demo
// story, so that a site and the watchdog can be tried before anything spins.
//
// Two ways to run: RunStory and Node move vehicles in real time as separate
// MQTT clients; Run moves them in virtual time against a Watch the caller
// brings. Both step the same plants (Rover, Multirotor) and the same Tracker,
// and both are judged by sim/judge, which knows the true position and shares no
// code with the watchdog.
//
// Everything random comes from a seed the caller gives. Units: metres, seconds,
// radians, the site frame (z up), unless a name says otherwise.
//
// What may enter: models of the outside world. What may not: any decision of
// the watchdog's; of this module sim imports only the vehicle's half of the
// contract (watchdog/link/receiver and watchdog/link/wire).
package sim
