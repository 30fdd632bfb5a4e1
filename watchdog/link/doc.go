// Package link carries bytes between the watchdog and an MQTT broker. It
// decides nothing: what a message means is the core's business.
//
// What may enter: the MQTT client, its mailboxes, its reconnection. What may
// not: poses, zones, levels, files.
package link
