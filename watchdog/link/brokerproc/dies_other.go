//go:build !linux

package brokerproc

import "syscall"

func diesWithUs() *syscall.SysProcAttr { return nil }
