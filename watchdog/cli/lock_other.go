//go:build !linux

package cli

import "errors"

func lockMemory() error { return errors.New("--lock-memory: only on Linux; leave it out") }
