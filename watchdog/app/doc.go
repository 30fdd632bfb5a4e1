// Package app wires core, link and trail together: lifecycle, the one event loop per vehicle, sd_notify.
package app
