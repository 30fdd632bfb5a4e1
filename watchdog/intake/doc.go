// Package intake turns what arrived, as it is kept in a trail, into the events
// the core is stepped with. The running guard and the review of its trail both
// go through it, so that the same bytes lead to the same decisions.
//
// What may enter: the numbering of what a trail's intake holds, and its reading
// back. What may not: judging, disks, MQTT.
package intake
