// Package receiver is the vehicle's half of the contract: bytes in, "may move"
// out. It is the one place where the freshness rule lives; vehicles and the
// simulator import the very same code. It depends on no MQTT client.
//
// Give it every message of the vehicle's permit topic (Permit), of its command
// topic (Command, whose answer goes out on the ack topic) and of the command
// topic of all vehicles (AllCommand), and ask MayMove at every turn of the
// control loop. Everything takes now: nanoseconds on the vehicle's own clock,
// the clock that stamps its poses. A vehicle whose tracker has another clock
// has to translate first.
//
// Rules:
//
//  1. Without an answer there is no permission: a zero Verdict, a zero
//     Receiver, a Receiver that has heard nothing all mean no.
//  2. A permit counts until its stamp is older than its validity on the
//     vehicle's clock; a validity is never more than a second.
//  3. A permit from the future is no permit. Where it is the newest of its
//     session it also withdraws what came before: one of the two clocks is
//     wrong, and it is not known which.
//  4. A retained permit is refused: a broker hands it out at any age.
//  5. Permits of one session only, each with a higher sequence number than the
//     last. So a repeated, late or replayed permit changes nothing.
//  6. A session is taken up only by a fresh permit that says no: whoever takes
//     over a vehicle first lets it stand, and its start is a deliberate act.
//     A session that was displaced may return by the same door, with a number
//     higher than its last.
//  7. A command, retained or not, latches. The latch opens when a permit that
//     says no has been accepted after it, and a newer one that says yes. A
//     command that was heard before and let go of since is acknowledged, and
//     does not latch again: it is a late copy.
//  8. What cannot be read on a command topic latches a stop: whoever sent it
//     did not send it to make the vehicle go. What cannot be read on the permit
//     topic changes nothing; the permit in force runs out by itself.
//  9. Every command that can be read is acknowledged each time it is heard.
//  10. With a key, a permit that is not signed with it, for this vehicle's permit
//     topic, is none and changes nothing. A command that is not is one that cannot
//     be read (rule 8): it latches a stop, never a land, and is not acknowledged.
//     Whoever can publish could take the permits away by other means; refusing an
//     unsigned stop would only ever keep a vehicle moving that somebody wanted to
//     stand, such as a guard that was given the wrong key. What guards sign, and a
//     vehicle's acknowledgements, package sign says.
//  11. A permit grows no younger: one that MayMove has seen run out, or seen at an
//     instant before its stamp, is over for good, and one that holds keeps the age
//     it had, also where the vehicle's clock is set back or wraps.
//
// What may enter: these rules. What may not: an MQTT client, a clock, motors.
package receiver
