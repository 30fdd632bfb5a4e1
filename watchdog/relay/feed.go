package relay

import (
	"fmt"
	"io"
	"os"
	"os/exec"
	"syscall"
	"time"

	"pinfold/watchdog/link/receiver"
)

// FeedEvery is how often a child process is told again what holds. One that hears
// nothing for FeedGone must halt as it does at the end of its input. One that leaves
// a line unread for feedDeaf has failed.
const (
	FeedEvery = 50 * time.Millisecond
	FeedGone  = 250 * time.Millisecond
	feedDeaf  = 2 * FeedGone
)

// Feed keeps a child process and tells it what holds, a line each time: "go", or
// "halt" and then "stop" or "land". The pipe is the only way to it, so its end is
// the relay's end, also where the relay is killed. The child stands in a process
// group of its own, so that what ends the relay does not end it first.
//
// Nothing queues in the pipe, which would hold minutes of go: what was said is not
// repeated before it was read. So a child that takes its time over a line hears of
// a halt two lines later at the latest.
type Feed struct {
	cmd   *exec.Cmd
	in    *os.File
	ended chan error
	said  string
	at    time.Time // of the newest line
	read  time.Time // when everything said was last known to be read
	heard bool      // it has read something
	gone  bool
}

// NewFeed starts the child by /bin/sh; what it prints goes to out.
func NewFeed(command string, out io.Writer) (*Feed, error) {
	read, write, err := os.Pipe()
	if err != nil {
		return nil, fmt.Errorf("relay: %w", err)
	}
	f := &Feed{cmd: exec.Command("/bin/sh", "-c", command), in: write, ended: make(chan error, 1), read: time.Now()}
	f.cmd.Stdin, f.cmd.Stdout, f.cmd.Stderr = read, out, out
	f.cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	err = f.cmd.Start()
	_ = read.Close() // the child has its own
	if err != nil {
		_ = write.Close()
		return nil, fmt.Errorf("relay: the command to feed: %w", err)
	}
	go func() { f.ended <- f.cmd.Wait() }()
	return f, nil
}

// Set writes a line where something changed or the last one is FeedEvery old. A
// child that ended, or that does not read, is an error for good: the pipe is
// closed then, and what it last heard is no longer true.
func (f *Feed) Set(v receiver.Verdict) error {
	select {
	case err := <-f.ended:
		f.gone = true
		return fmt.Errorf("the command that is fed has ended (%w); nothing drives the motors' output any more", orNil(err))
	default:
	}
	line := word(v)
	if !v.Go {
		line += " " + v.Action.String()
	}
	now := time.Now()
	unread, err := f.reads(now)
	switch {
	case err != nil:
		return f.deaf(err)
	case unread && (!f.heard || line == f.said), line == f.said && now.Sub(f.at) < FeedEvery:
		return nil
	}
	if err := f.in.SetWriteDeadline(now.Add(Turn)); err != nil {
		return err
	}
	if _, err := f.in.WriteString(line + "\n"); err != nil {
		return f.deaf(err)
	}
	f.said, f.at = line, now
	return nil
}

// feedStart is how long the child may take to start, until it reads its first line.
const feedStart = 10 * time.Second

// reads says whether something said is still unread, and fails where it has been
// so for too long.
func (f *Feed) reads(now time.Time) (unread bool, err error) {
	if unread, err = f.unread(); err != nil {
		return unread, err
	}
	most := feedDeaf
	if !f.heard {
		most = feedStart
	}
	switch since := now.Sub(f.read); {
	case !unread:
		f.read, f.heard = now, f.said != ""
	case since > most:
		return true, fmt.Errorf("it has left what it was told unread for %v", since.Round(time.Millisecond))
	}
	return unread, nil
}

// deaf ends the child's input, which is the last thing it can be told.
func (f *Feed) deaf(err error) error {
	_ = f.in.Close()
	return fmt.Errorf("the command that is fed does not read: %w", err)
}

// unread says whether the child has not yet read all it was told.
func (f *Feed) unread() (bool, error) {
	c, err := f.in.SyscallConn()
	if err != nil {
		return false, err
	}
	n, failed := 0, error(nil)
	if err := c.Control(func(fd uintptr) { n, failed = waits(fd) }); err != nil {
		return false, err
	}
	return n > 0, failed
}

// orNil is err, or words where there is none.
func orNil(err error) error {
	if err == nil {
		return fmt.Errorf("exit status 0")
	}
	return err
}

// feedEnd is how long the child may take to halt and end once its input ended.
const feedEnd = 2 * time.Second

// Close ends the child's input, which halts, and waits for the child to end.
func (f *Feed) Close() error {
	_ = f.in.Close() // closed already where the child failed
	if f.gone {
		return nil
	}
	select {
	case <-f.ended:
		return nil
	case <-time.After(feedEnd):
		return fmt.Errorf("relay: the command that was fed has not ended %v after its input did; did it halt?", feedEnd)
	}
}
