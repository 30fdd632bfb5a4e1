package cli

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"pinfold/watchdog/link/mosquittotest"
)

// relayed is a guard that permits a vehicle, and the relay that holds the permit.
// The child or command writes a line for each thing it hears.
type relayed struct {
	t     *testing.T
	relay *process
	log   string
}

// newRelayed runs both, until the output goes; LOG in output is where the child
// writes to.
func newRelayed(t *testing.T, output ...string) *relayed {
	t.Helper()
	b := mosquittotest.Start(t)
	site, r := patientSite(t, b.URL), &relayed{t: t, log: filepath.Join(t.TempDir(), "log")}
	guard := start(t, "run", "--site", site, "--trail", t.TempDir())
	guard.waitFor("watching")
	l := listen(t, b.URL, "wren")
	stop := make(chan struct{})
	t.Cleanup(func() { close(stop) })
	go l.hover(stop, 3, 2, 1.5)
	args := []string{"relay", "--site", site, "--clock", "realtime"}
	for _, o := range output {
		args = append(args, strings.ReplaceAll(o, "LOG", r.log))
	}
	r.relay = start(t, args...)
	started := false
	within(t, 30*time.Second, "the output goes", func() bool {
		if !started {
			code, _ := ask("start", "--site", site)
			started = code == exitFine
		}
		return strings.HasSuffix(r.heard(), "go\n")
	})
	return r
}

func (r *relayed) heard() string {
	b, err := os.ReadFile(r.log)
	if err != nil && !os.IsNotExist(err) {
		r.t.Fatal(err)
	}
	return string(b)
}

// The child that docs/link.md has, word for word, halts by whatever ends what it
// hears, or itself.
func TestFedChildOfTheDocumentation(t *testing.T) {
	doc, err := os.ReadFile("../../docs/link.md")
	if err != nil {
		t.Fatal(err)
	}
	_, script, found := strings.Cut(string(doc), "In bash:\n\n  ```sh\n")
	script, _, end := strings.Cut(script, "  ```\n")
	if !found || !end || !strings.Contains(script, "motors_on") {
		t.Fatalf("docs/link.md has no such child: %q", script)
	}
	for name, stop := range map[string]func(child *os.Process, in *os.File) error{
		"end of input": func(_ *os.Process, in *os.File) error { return in.Close() },
		"silence":      func(*os.Process, *os.File) error { return nil },
		"halt":         func(_ *os.Process, in *os.File) error { _, err := in.WriteString("halt land\n"); return err },
		"SIGTERM":      func(child *os.Process, _ *os.File) error { return child.Signal(syscall.SIGTERM) },
		"SIGHUP":       func(child *os.Process, _ *os.File) error { return child.Signal(syscall.SIGHUP) },
		"SIGINT":       func(child *os.Process, _ *os.File) error { return child.Signal(syscall.SIGINT) },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			log := filepath.Join(t.TempDir(), "log")
			read, write, err := os.Pipe()
			if err != nil {
				t.Fatal(err)
			}
			defer write.Close() //nolint:errcheck // closed already where that is what is tried
			cmd := exec.Command("bash", "-c", "motors_on() { echo on >> "+log+"; }\nmotors_off() { echo off >> "+log+"; }\n"+script)
			cmd.Stdin = read
			if err := cmd.Start(); err != nil {
				t.Fatal(err)
			}
			defer cmd.Wait()         //nolint:errcheck // how it ended is not what is tried
			defer cmd.Process.Kill() //nolint:errcheck // it may have ended
			_ = read.Close()
			said := func() string { b, _ := os.ReadFile(log); return string(b) } // not there yet: nothing
			if _, err := write.WriteString("go\n"); err != nil {
				t.Fatal(err)
			}
			within(t, 10*time.Second, "the motors run", func() bool { return strings.HasPrefix(said(), "on\n") })
			if err := stop(cmd.Process, write); err != nil {
				t.Fatal(err)
			}
			within(t, 10*time.Second, "the motors halt", func() bool { return strings.HasSuffix(said(), "off\n") })
		})
	}
}

// feeder is a child that halts at the end of its input, and where it hears nothing
// for 250 ms.
const feeder = `exec bash -c 'while read -t 0.25 word how; do echo $word >> LOG; done; echo end >> LOG'`

// A relay that is killed takes its pipe with it, and the child halts; one that is
// stopped says nothing any more, and the child halts for that.
func TestFedChildHaltsWithTheRelay(t *testing.T) {
	for name, sig := range map[string]syscall.Signal{"killed": syscall.SIGKILL, "stopped": syscall.SIGSTOP, "told to end": syscall.SIGTERM} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := newRelayed(t, "--feed", feeder)
			begun := time.Now()
			if err := r.relay.cmd.Process.Signal(sig); err != nil {
				t.Fatal(err)
			}
			within(t, 5*time.Second, "the child halts", func() bool { return strings.HasSuffix(r.heard(), "end\n") })
			t.Logf("halted %v after the relay was %s", time.Since(begun).Round(time.Millisecond), name)
			if name == "told to end" {
				if code := r.relay.wait(5 * time.Second); code != exitFine {
					t.Errorf("exit status %d", code)
				}
			}
		})
	}
}

// What --run cannot do, as the documentation says: a relay that is dead runs
// nothing. It says so itself when it starts.
func TestRunIsForIndicationOnly(t *testing.T) {
	t.Parallel()
	r := newRelayed(t, "--run", "echo >> LOG")
	if !strings.Contains(r.relay.text(), "caution: with --run a relay that is killed or stopped halts nothing") {
		t.Errorf("no caution: %s", r.relay.text())
	}
	if !strings.HasPrefix(r.heard(), "halt land\n") {
		t.Errorf("it did not begin with a halt: %q", r.heard())
	}
	if err := r.relay.cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	time.Sleep(400 * time.Millisecond) // the permit is long gone
	if got := r.heard(); !strings.HasSuffix(got, "go\n") {
		t.Errorf("a dead relay ran something: %q; then the documentation is wrong", got)
	}
}

func TestRelayRefusesWhatItCannotDo(t *testing.T) {
	site := writeSite(t, "", "mqtt://127.0.0.1:1", 2.8)
	for want, args := range map[string][]string{
		"give --gpio, --feed or --run": {},
		"is no GPIO line":              {"--gpio", "17"},
		"no such file":                 {"--gpio", "/nowhere/gpiochip0:1"},
		"are about a GPIO line":        {"--run", "true", "--pulse"},
		"goes with --user":             {"--run", "true", "--password-file", "x"},
		"no vehicle":                   {"--run", "true", "--vehicle", "rook"},
	} {
		var out, errw bytes.Buffer
		code := Main(append([]string{"relay", "--site", site}, args...), nil, &out, &errw)
		if code != exitError || !strings.Contains(errw.String(), want) {
			t.Errorf("%v: exit status %d: %s", args, code, errw.String())
		}
	}
}
