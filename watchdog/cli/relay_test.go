package cli

import (
	"bytes"
	"os"
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

// feeder is a child as docs/link.md has it: it halts at the end of its input, and
// where it hears nothing for 250 ms.
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
