// Package brokerproc runs an MQTT broker as a process of its own, which can be
// killed, frozen and started again, and makes ways to a broker that can be made
// slow, narrow, or be cut. It is for showing what happens then: package
// mosquittotest wraps it for tests, and sim/faults shows it on the command line.
//
// What may enter: starting and ill-treating that process, and the way to it.
package brokerproc
