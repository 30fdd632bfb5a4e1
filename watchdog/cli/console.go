package cli

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"time"
)

// reportPage makes the page of a past session for the console. It is made by a
// process of its own, which yields to the guard (nice 19), so that neither its
// memory nor its time is taken from the judgement; it ends with ctx.
func reportPage(ctx context.Context, folder string) ([]byte, error) {
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	return reportBy(ctx, self, folder)
}

// reportBy is reportPage by the program self.
func reportBy(ctx context.Context, self, folder string) ([]byte, error) {
	dir, err := os.MkdirTemp("", "pinfold-report-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	file := filepath.Join(dir, "report.html")
	var said strings.Builder
	c := exec.CommandContext(ctx, self, "review", "--html", file, folder)
	c.Stderr, c.Env = &said, append(os.Environ(), "NOTIFY_SOCKET=") // it is not the guard
	c.WaitDelay = time.Second
	if err := c.Start(); err != nil {
		return nil, err
	}
	_ = syscall.Setpriority(syscall.PRIO_PROCESS, c.Process.Pid, 19)                          // where it may not yield, the report is given up when a vehicle has a permit
	_ = os.WriteFile(fmt.Sprintf("/proc/%d/oom_score_adj", c.Process.Pid), []byte("1000"), 0) // and where memory runs out, it is the first to go
	err = c.Wait()
	if exit := new(exec.ExitError); errors.As(err, &exit) && exit.ExitCode() == exitFound {
		err = nil // it found something, and says so on the page
	}
	if err != nil {
		return nil, fmt.Errorf("the report could not be made: %s", strings.TrimSpace(said.String()))
	}
	return os.ReadFile(file)
}
