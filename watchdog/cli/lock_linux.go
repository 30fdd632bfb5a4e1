package cli

import (
	"fmt"
	"syscall"
)

// mclOnFault locks a page when it is first used (mlockall(2), Linux 4.4):
// without it the address space that the runtime only reserves would be filled.
const mclOnFault = 4

// lockMemory keeps every page that is in use, or comes to be, out of swap and
// from being dropped.
func lockMemory() error {
	if err := syscall.Mlockall(syscall.MCL_CURRENT | syscall.MCL_FUTURE | mclOnFault); err != nil {
		return fmt.Errorf("--lock-memory: %w; allow it (LimitMEMLOCK=infinity in the unit, as systemd/realtime.conf has it; ulimit -l in a shell), or leave it out", err)
	}
	return nil
}
