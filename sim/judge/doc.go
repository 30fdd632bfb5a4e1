// Package judge says from the true position whether a vehicle stayed in its
// pen. It is the second opinion on the watchdog: its own crossing-number and
// distance code, told the pen as plain numbers, and slower and simpler than the
// code it judges.
//
// What may enter: plain geometry. What may not: anything of this module; a test
// holds that with go list.
package judge
