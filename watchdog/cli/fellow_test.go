package cli

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"pinfold/watchdog/link/mosquittotest"
	"pinfold/watchdog/link/wire"
)

// named writes a site file for the guard of a name, with fellows or without.
func named(t *testing.T, url, guard string, fellows ...string) string {
	t.Helper()
	path := patientSite(t, url)
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	keys := fmt.Sprintf("[site]\nguard = %q\n", guard)
	if len(fellows) > 0 {
		keys += fmt.Sprintf("fellows = [%q]\n", strings.Join(fellows, `", "`))
	}
	return write(t, path, strings.Replace(string(text), "[site]\n", keys, 1))
}

// twoNamed is a vehicle that goes by the permits of two guards, held by a relay.
type twoNamed struct {
	t      *testing.T
	url    string
	sites  [2]string
	guards [2]*process
	relay  *process
	log    string
}

func newTwoNamed(t *testing.T) *twoNamed {
	t.Helper()
	b := mosquittotest.Start(t)
	two := &twoNamed{t: t, url: b.URL, log: filepath.Join(t.TempDir(), "log")}
	two.sites = [2]string{named(t, b.URL, "hall-1", "hall-2"), named(t, b.URL, "hall-2", "hall-1")}
	l := listen(t, b.URL, "wren")
	stop := make(chan struct{})
	t.Cleanup(func() { close(stop) })
	go l.hover(stop, 3, 2, 1.5)
	two.guard(0)
	two.relay = start(t, "relay", "--site", two.sites[0], "--clock", "realtime", "--feed", "exec cat > "+two.log)
	two.relay.waitFor("halt")
	return two
}

func (x *twoNamed) guard(i int) {
	x.t.Helper()
	x.guards[i] = start(x.t, "run", "--site", x.sites[i], "--trail", x.t.TempDir())
	x.guards[i].waitFor("watching")
}

func (x *twoNamed) goes() bool {
	b, err := os.ReadFile(x.log)
	return err == nil && strings.HasSuffix(string(b), "go\n")
}

// put asks for something until it is granted.
func (x *twoNamed) put(what string) {
	x.t.Helper()
	within(x.t, 30*time.Second, what+" is granted by both", func() bool {
		code, text := ask(what, "--site", x.sites[0])
		return code == exitFine && strings.Contains(text, "guard hall-1:") && strings.Contains(text, "guard hall-2:")
	})
}

func (x *twoNamed) goesWithin(most time.Duration, what string, want bool) {
	x.t.Helper()
	within(x.t, most, what, func() bool { return x.goes() == want })
}

// One of two named guards ends, by force or by being stopped: the vehicle halts by
// the permit's age on its own clock, the other guard stops too, and both can be
// reset and started again.
func TestVehicleNeedsBothOfTwoNamedGuards(t *testing.T) {
	for name, sig := range map[string]syscall.Signal{"killed": syscall.SIGKILL, "stopped": syscall.SIGSTOP, "told to end": syscall.SIGTERM} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			x := newTwoNamed(t)
			within(t, 30*time.Second, "one of two is started, and the other missed", func() bool {
				code, text := ask("start", "--site", x.sites[0], "--wait", "1s")
				return code == exitError && strings.Contains(text, "wren, guard hall-1: clear") && strings.Contains(text, "guard hall-2: no guard shows a state")
			})
			if x.goes() {
				t.Fatal("the vehicle goes by the permit of one of two")
			}
			x.guard(1)
			x.put("start")
			x.goesWithin(10*time.Second, "the relay goes", true)
			for i, other := range []string{"hall-2", "hall-1"} {
				x.guards[i].waitFor("fellow guard " + other + " is heard")
				if strings.Contains(x.guards[i].text(), "another guard is at work") {
					t.Errorf("guard %d takes its fellow for a second guard", i)
				}
			}
			begun := time.Now()
			if err := x.guards[1].cmd.Process.Signal(sig); err != nil {
				t.Fatal(err)
			}
			x.goesWithin(10*time.Second, "the relay halts", false)
			t.Logf("halted %v after one of two was %s", time.Since(begun).Round(time.Millisecond), name)
			x.guards[0].waitFor("this one stops too")
			x.again(name)
		})
	}
}

// again starts the second guard once more, and lets the vehicle go.
func (x *twoNamed) again(name string) {
	x.t.Helper()
	if name == "stopped" { // for good: two of its name at once would be another story
		_ = x.guards[1].cmd.Process.Kill()
	}
	x.guards[1].wait(15 * time.Second)
	x.guard(1)
	if x.goes() {
		x.t.Fatal("the vehicle goes again by itself")
	}
	x.put("reset")
	x.put("start")
	x.goesWithin(10*time.Second, "the relay goes again", true)
}

// A stop of one is a stop of both; one that is not declared stops the vehicle.
func TestNamedGuardsStopTogetherAndForAThird(t *testing.T) {
	t.Parallel()
	x := newTwoNamed(t)
	x.guard(1)
	x.put("start")
	x.goesWithin(10*time.Second, "the relay goes", true)
	third := named(t, x.url, "hall-3")
	p := start(t, "run", "--site", third, "--trail", t.TempDir())
	p.waitFor("watching")
	x.goesWithin(10*time.Second, "the relay halts for the third", false)
	for _, g := range x.guards {
		g.waitFor("another guard is at work for this vehicle (guard hall-3")
	}
	p.waitFor("another guard is at work for this vehicle (guard hall-")
	p.end(syscall.SIGTERM)
	x.put("reset")
	x.put("start")
	x.goesWithin(10*time.Second, "the relay goes again", true)

	l := listen(t, x.url, "wren")
	alone := wire.Request{Ask: wire.Land, By: "test", Guard: "hall-1"} // a halt is for all, whatever it says
	l.send(l.topics.Request, alone.Append(nil), false)
	x.goesWithin(10*time.Second, "the relay halts for a land", false)
	within(t, 10*time.Second, "both have latched it", func() bool {
		for _, g := range []string{"hall-1", "hall-2"} {
			within(t, 10*time.Second, "a state of "+g, func() bool { return l.last().Guard == g })
			if st := l.last(); st.Guard == g && len(st.Latched) == 0 {
				return false
			}
		}
		return true
	})
}

// Two guards share the vehicles of one site by name; neither is the other's
// second.
func TestGuardsShareASiteByVehicle(t *testing.T) {
	t.Parallel()
	b := mosquittotest.Start(t)
	text, err := os.ReadFile("../../config/testdata/demo.toml")
	if err != nil {
		t.Fatal(err)
	}
	site := write(t, filepath.Join(t.TempDir(), "site.toml"), strings.Replace(string(text), "mqtt://127.0.0.1:1883", b.URL, 1))
	var guards []*process
	for _, v := range []string{"wren", "mole"} {
		l := listen(t, b.URL, v)
		stop := make(chan struct{})
		t.Cleanup(func() { close(stop) })
		x := map[string]float64{"wren": 3, "mole": 9}[v]
		go l.hover(stop, x, 1.5, 1)
		trail := t.TempDir()
		p := start(t, "run", "--site", site, "--vehicle", v, "--trail", trail)
		p.waitFor("watching")
		guards = append(guards, p)
		within(t, 30*time.Second, v+" is started", func() bool {
			code, _ := ask("start", "--site", site, "--vehicle", v)
			return code == exitFine
		})
	}
	time.Sleep(300 * time.Millisecond) // several permits of each
	for i, p := range guards {
		if strings.Contains(p.text(), "another guard") {
			t.Errorf("guard %d sees a second one", i)
		}
		if code := p.end(syscall.SIGTERM); code != exitFine {
			t.Errorf("guard %d: exit status %d", i, code)
		}
	}
	for want, args := range map[string][]string{
		`no vehicle "rook"`: {"--vehicle", "rook"},
	} {
		p := start(t, append([]string{"run", "--site", site}, args...)...)
		if code := p.wait(10 * time.Second); code != exitError || !strings.Contains(p.text(), want) {
			t.Errorf("%v: exit status %d: %s", args, code, p.text())
		}
	}
}
