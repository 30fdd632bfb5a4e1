// Package sign puts signatures under messages of the contract, and checks them:
// for brokers that somebody else controls, or that strangers can publish on.
//
// A signed message is the unsigned one with a last member more:
//
//	{"guard":"hall",…,"valid":0.25,"sig":"64 hexadecimal digits, lower case"}
//
// The digits are HMAC-SHA-256 (RFC 2104, FIPS 180-4) with a key of 32 bytes, of
// the topic's bytes, a zero byte, and the message's bytes before `,"sig"`. So it is
// these very bytes that are signed, and no form that both sides would have to agree
// on; the last 74 bytes are the signature's, wherever JSON would put its spaces; a
// reader without a key passes over a member it does not know. The topic, in which
// no zero byte can stand (MQTT 3.1.1 §1.5.3), names vehicle and kind: a permit of
// one vehicle is none for another, and none is a command.
//
// A signature says who sent a message, not when. What is old is refused by what the
// message says: session, number and stamp of a permit, id of a command, nonce of a
// request, number and stamp of a pose.
//
// HMAC and not Ed25519, because it is the vehicle that checks, often a
// microcontroller: some five runs of SHA-256 for a permit, in a hundred lines of C
// without a heap, against a curve's arithmetic. Whoever can check can also sign; but
// a vehicle that grants itself a permit might as well not ask for one, and each
// vehicle, its tracker and its operators have keys of their own.
//
// What may enter: keys, their files, the signature. What may not: what a message
// means, sites, a clock.
package sign
