// Package broker is an embedded MQTT broker for the demo and for tests, never for production.
package broker
