package link

import "time"

// Bounds of the link.
const (
	DefaultDepth = 64       // messages an Inbox queue holds unless told otherwise
	MaxDepth     = 4096     // messages an Inbox queue can be told to hold
	DefaultMax   = 16 << 10 // bytes of a payload an Inbox queue keeps unless told otherwise
	MaxMax       = 64 << 10 // bytes of a payload an Inbox queue can be told to keep
	MaxNodes     = 8        // addresses of a broker
	MaxQueues    = 16       // queues of an Inbox
	MaxSubs      = 4096     // subscriptions of a Client
	MaxSlots     = 4096     // slots of a Client
	MaxPayload   = 64 << 10 // bytes of a payload that is sent
	MaxClientID  = 48       // bytes of Options.ClientID; a unique ending is added
	MaxTopic     = 512      // bytes of a topic or filter
)

// How the connection is kept, as measured against several brokers: a shorter
// keep-alive makes brokers cut healthy idle clients and publish their wills.
const (
	keepAlive     = 2 * time.Second
	pingTimeout   = 500 * time.Millisecond
	writeTimeout  = 200 * time.Millisecond
	retryEvery    = 100 * time.Millisecond
	connectFirst  = 500 * time.Millisecond // for the first try; doubled after each failure
	connectMost   = 4 * time.Second
	grantWithin   = 2 * time.Second // for all subscriptions to be granted
	grantRetry    = 200 * time.Millisecond
	farewell      = 50 * time.Millisecond // for a DISCONNECT to leave when a connection is renewed
	ackRecheck    = 50 * time.Millisecond // for a slot of QoS 1 whose last message is not confirmed
	subsPerPacket = 64                    // topic filters in one SUBSCRIBE
)
