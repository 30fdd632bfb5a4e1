//go:build !linux

package relay

import (
	"errors"

	"pinfold/watchdog/link/receiver"
)

// GPIO drives a line through Linux's character device.
type GPIO struct{}

// NewGPIO fails: there is no such device here.
func NewGPIO(string, bool, bool) (*GPIO, error) {
	return nil, errors.New("relay: GPIO lines are driven through Linux's character device; this is another system")
}

// Set fails.
func (*GPIO) Set(receiver.Verdict) error { return errors.New("relay: no GPIO here") }

// Close does nothing.
func (*GPIO) Close() error { return nil }
