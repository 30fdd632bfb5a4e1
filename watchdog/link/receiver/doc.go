// Package receiver is the vehicle's half of the contract: bytes in, "may move"
// out. It is the one place where the freshness rule lives; vehicles and the
// simulator import the very same code. It depends on no MQTT client.
package receiver
