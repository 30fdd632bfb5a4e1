package brokerproc

import "syscall"

// diesWithUs has a process end with the thread that started it: it must not
// outlive a test that panics.
func diesWithUs() *syscall.SysProcAttr { return &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL} }
