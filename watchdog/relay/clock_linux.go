package relay

import (
	"fmt"

	"golang.org/x/sys/unix"
)

// Clock reads one of the machine's clocks, ns: "monotonic", "boottime" or
// "realtime". It must be the one that stamps the vehicle's poses. One that cannot
// be read is so far in the past that every permit is from the future.
func Clock(name string) (func() int64, error) {
	id, ok := map[string]int32{"monotonic": unix.CLOCK_MONOTONIC, "boottime": unix.CLOCK_BOOTTIME, "realtime": unix.CLOCK_REALTIME}[name]
	if !ok {
		return nil, fmt.Errorf("relay: no clock %q; there are monotonic, boottime and realtime", name)
	}
	return func() int64 {
		var t unix.Timespec
		if unix.ClockGettime(id, &t) != nil {
			return -1 << 62
		}
		return t.Nano()
	}, nil
}
