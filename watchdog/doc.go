// Package watchdog is the decision core: (state, event, now) to effects.
//
// A Guard watches one vehicle. Step takes one event and the instant it is
// judged at, and returns what the shell must do, in the order in which it must
// be done: permits and commands first, state second, records last ("stop
// before disk"). The Guard has no goroutine, clock, channel, file or logger,
// keeps no package variable and ranges over no map, so the same events at the
// same instants give the same effects, bit for bit.
//
// Laws that hold after every Step (tested in laws_test.go):
//
//  1. A permit with Go is only ever emitted while the vehicle was started, no
//     stop or land is latched, no cause that answers with stop or land holds,
//     and the pose is trusted. The one exception is a retrieval (see
//     RetrieveFor), which tolerates that the vehicle is out of place.
//  2. stop and land latch: nothing but an accepted reset lowers them, and
//     after a reset the level is waiting, never clear; or an accepted start
//     with retrieve where the vehicle is outside and no reset is possible, and
//     that ends in a stop, whatever ends it.
//  3. start and reset take effect only after the shell has confirmed that
//     their record is durable (EvDurable), and only if their conditions still
//     hold then. A stop raised in between makes them void.
//  4. A nonce is good for one request; it also changes whenever a stop or land
//     is raised, and after NonceFor, so that a request that was held somewhere
//     does nothing.
//  5. Every cause that latched a stop or land stays named until the reset, and
//     each is sent as a command of its own in the Step that first knows of it.
//  6. A cause that was true for any part of what a Step covers counts, also
//     where it has ended by the end of that Step.
//  7. No start is granted while a cause holds that answers with stop or land; with retrieve, one of place is let pass.
//  8. Every number in an effect is finite.
//  9. While the tracker's tie to the room is void (never made, or the tracker
//     restarted since) no permit is granted. A new alignment is taken only
//     where none is in force, after its record is durable, from a message with
//     a nonce or from the site's own files, and only once; it never lowers a
//     latch, starts anything or grants a permit.
//  10. With Config.MotorsOff no start is taken and no permit granted, whatever is
//     asked, and what calls for a stop latches one without any start.
//
// What may enter: judgement, levels, permits, commands, requests. What may
// not: bytes of the wire other than a pose payload, MQTT, disks, wall clocks.
// It imports zones and watchdog/pose and nothing else of this module.
package watchdog
