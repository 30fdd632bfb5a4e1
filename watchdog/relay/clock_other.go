//go:build !linux

package relay

import (
	"errors"
	"time"
)

// Clock reads the machine's wall clock, ns: the other two are Linux's.
func Clock(name string) (func() int64, error) {
	if name != "realtime" {
		return nil, errors.New("relay: this system has no clock " + name + " that a tracker could share; use realtime")
	}
	return func() int64 { return time.Now().UnixNano() }, nil
}
