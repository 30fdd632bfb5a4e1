// Package examples holds the vehicle's half in other languages than Go, and the
// tests that hold it against the receiver package; and pose publishers of some
// twenty lines for trackers.
//
//	vehicle.py      a vehicle, paho-mqtt
//	c/vehicle.c     a vehicle for a microcontroller's loop: receiver.c and
//	                message.c are its rules, sign.c signatures, mqtt.c a small
//	                client; no heap
//	pose.py         a tracker, paho-mqtt
//	tracker/        a tracker, Go
//	c/pose.c        a tracker, libmosquitto
//
// What may enter: examples that people copy. What may not: code that anything
// imports.
package examples
