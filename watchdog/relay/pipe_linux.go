package relay

import "golang.org/x/sys/unix"

// waits is how many bytes the pipe holds that its reader has not taken yet. Linux
// tells it at the writer's end too.
func waits(fd uintptr) (int, error) { return unix.IoctlGetInt(int(fd), unix.TIOCINQ) }
