package relay

import (
	"context"
	"io"
	"os/exec"
	"syscall"
	"time"

	"pinfold/watchdog/link/receiver"
)

// Command runs a command on every change, with "go" or "halt" as its argument,
// and "stop" or "land" after "halt". A halt does not wait for a go that is still
// running: that one is killed. A halt that fails is run again until it succeeds,
// or until there is a go.
//
// Whoever relies on it must know that a relay that is dead runs nothing.
type Command struct {
	command string
	out     io.Writer
	say     func(string)
	said    string
	wishes  chan []string // capacity 1: the newest
	done    chan struct{}
}

// NewCommand makes it and runs it with "halt" at once; what it prints goes to
// out.
func NewCommand(command string, out io.Writer, say func(string)) *Command {
	c := &Command{command: command, out: out, say: say, wishes: make(chan []string, 1), done: make(chan struct{})}
	go c.work()
	return c
}

// Set hands over what changed and returns at once.
func (c *Command) Set(v receiver.Verdict) error {
	words := []string{word(v)}
	if !v.Go {
		words = append(words, v.Action.String())
	}
	if key := words[len(words)-1]; key != c.said {
		c.said = key
		c.put(words)
	}
	return nil
}

// put replaces what still waits.
func (c *Command) put(words []string) {
	select {
	case <-c.wishes:
	default:
	}
	c.wishes <- words
}

// Close halts, and waits until that is done, or has failed.
func (c *Command) Close() error {
	c.put([]string{Halt, receiver.Stop.String()})
	close(c.wishes)
	<-c.done
	return nil
}

// Times of a command.
const (
	commandMost  = 2 * time.Second        // for one run; then it is killed and has failed
	commandAgain = 200 * time.Millisecond // after a halt that failed
	commandTries = 5                      // at the end, when nothing comes after
)

// work runs one command at a time.
func (c *Command) work() {
	defer close(c.done)
	var words []string // nil: nothing is to be run
	tries, closed := 0, false
	for {
		if words == nil {
			w, open := <-c.wishes
			if !open {
				return
			}
			words, tries = w, 0
		}
		ok, next, open := c.one(words)
		closed = closed || !open
		tries++
		switch {
		case next != nil:
			words, tries = next, 0
		case ok, words[0] == Go, closed && tries >= commandTries:
			words = nil
		default:
			time.Sleep(commandAgain)
		}
	}
}

// one runs the command once. next is what came meanwhile, for which a go is
// given up; open is false once nothing more will come.
func (c *Command) one(words []string) (ok bool, next []string, open bool) {
	ctx, cancel := context.WithTimeout(context.Background(), commandMost)
	defer cancel()
	cmd := exec.CommandContext(ctx, "/bin/sh", append([]string{"-c", c.command + ` "$@"`, "pinfold"}, words...)...)
	cmd.Stdout, cmd.Stderr = c.out, c.out
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	cmd.Cancel = func() error { return syscall.Kill(-cmd.Process.Pid, syscall.SIGKILL) }
	cmd.WaitDelay = commandAgain
	ran := make(chan error, 1)
	go func() { ran <- cmd.Run() }()
	wishes := c.wishes
	open = true
	for {
		select {
		case err := <-ran:
			if err != nil && ctx.Err() != context.Canceled {
				c.say("the command failed with " + words[0] + ": " + err.Error())
			}
			return err == nil, next, open
		case w, more := <-wishes:
			if !more {
				open, wishes = false, nil
				continue
			}
			next = w
			if words[0] == Go {
				cancel()
			}
		}
	}
}
