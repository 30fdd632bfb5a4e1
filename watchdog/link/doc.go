// Package link carries bytes between the watchdog and an MQTT 3.1.1 broker. It
// decides nothing: what a message means is the core's business.
//
// Dial returns at once and keeps a connection up in the background, each one a
// new session under a new client id. The link is up once every subscription is
// granted. What arrives goes into an Inbox, bounded, where the old makes room
// for the new. What is to leave goes into a Slot, where the newest wins; what
// could not leave in time is dropped and counted. So nothing old is delivered
// later, in either direction, and no call of the caller's loop waits for the
// network: only Close and PublishNow do, for as long as they are told.
//
// What comes at QoS 0 goes from the socket straight into its inbox, past the
// client library's goroutines (direct.go, quiet_linux.go): on a small board those
// cost more than the judgement.
//
// What may enter: the MQTT client, its mailboxes, its reconnection. What may
// not: poses, zones, levels, files.
package link
