// Package pose turns a tracker's message into a trusted pose in the site
// frame: decode, check, axes, mounting, alignment, velocity, trust.
//
// What may enter: message formats, frames, rigid transforms, velocity from
// positions, and the reasons a pose is not to be trusted. What may not: zones,
// limits, levels, permits, files, the network. The package imports nothing of
// this module, starts no goroutine, reads no clock, keeps no package variable
// and ranges over no map: instants are arguments.
//
// Units are metres, seconds and radians, angles in degrees only where a name
// ends in Deg. Stamps are nanoseconds on the sender's own clock. Instants are
// time.Duration since the session began on the watchdog's monotonic clock.
package pose
