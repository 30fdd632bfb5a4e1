// Package sim has vehicles, trackers with errors, faults, pilots and the demo's
// story, so that a site and the watchdog can be tried before anything spins.
//
// A Node is one vehicle in real time, an MQTT client of its own: its plant
// (Rover or Multirotor) and its Tracker are stepped at Tick and judged at every
// step by sim/judge, which knows the true position and shares no code with the
// watchdog. Whether it may move is decided by the receiver that real vehicles
// import. An Operator reads states and sends requests. RunStory is the demo: two
// nodes and an operator, act by act; what came of an act is read from the
// watchdog's state and from the true position. RunScenario measures by the
// vehicle's own clock how it comes to rest when something dies or lies.
//
// Everything random comes from a seed the caller gives. In virtual time (plants,
// trackers, pilots, the rig inside a node) the same seed gives the same bytes;
// what is published in real time depends on the machine as well.
//
// Units: metres, seconds, radians, the site frame (z up), unless a name says
// otherwise.
//
// What may enter: models of the outside world. What may not: any decision of
// the watchdog's. Of this module sim imports only the MQTT client
// (watchdog/link) and the vehicle's half of the contract (watchdog/link/receiver
// and watchdog/link/wire); a test holds that.
package sim
