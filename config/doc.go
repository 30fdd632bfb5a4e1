// Package config turns a site file into a Site: immutable, complete and valid
// by construction.
//
// It is strict. A key it does not know, a name given twice, a number that is
// not finite (TOML has nan and inf), a unit left out, a ring that crosses
// itself, a pen the vehicle does not fit: each is a Problem with file, line,
// value and next step, and all of them are reported at once. Where there is
// one, there is no Site. `check` and `run` use this very loader.
//
// Conventions of the site file: lengths in metres, speeds in m/s, angles in
// degrees, durations as strings with a unit ("100ms"), the site frame
// right-handed with z up and its z = 0 on the floor.
//
// What may enter: reading, checking and comparing configurations. What may
// not: judging a pose, the network, the clock. It imports zones, watchdog and
// watchdog/pose, and nothing else of this module.
package config
