// Package wire is the contract on the wire: the topics and the JSON messages
// of permit, command, ack, state and request, encoded and strictly decoded.
//
// What may enter: the shape of messages and their names. What may not: any
// decision, any client library, a clock. It imports nothing of this module.
package wire
