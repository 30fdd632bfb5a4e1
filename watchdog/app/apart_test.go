package app

import (
	"context"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"pinfold/config"
	"pinfold/sim"
	"pinfold/sim/judge"
	"pinfold/watchdog/review"
)

const apartSite = `
[site]
name = "Test hall"
local_rules = "None apply: nothing moves; checked by the test that wrote this"
[broker]
url = %q
[apart]
distance = 0.5
lead = 0.4
[[zone]]
name = "hall"
kind = "keep-in"
floor = 0.0
ceiling = 3.0
polygon = [[0,0],[16,0],[16,4],[0,4]]
`

const apartVehicle = `
[[vehicle]]
name = %q
rank = %d
kind = "rover"
radius = 0.3
height = 0.4
[vehicle.pose]
axes = "z-up"
[vehicle.limits]
speed = 1.0
[vehicle.stopping]
reaction = "150ms"
deceleration = 1.2
margin = 0.05
`

// TestTwoVehiclesAreKeptApart lets two simulated rovers meet in one hall: the
// one of lower rank stops, and where the other drives on at it, both do; by
// their true positions they never come nearer than what is declared, and the
// trail gives the same decisions again. A run that the machine disturbed (a
// vehicle stopped for anything but the other's coming near) is made again.
func TestTwoVehiclesAreKeptApart(t *testing.T) {
	for try := range 4 {
		if disturbed := meet(t); disturbed == "" {
			return
		} else {
			t.Logf("try %d: %s", try+1, disturbed)
		}
	}
	t.Error("the machine disturbed every try")
}

// meet lets the two drive at each other, once.
func meet(t *testing.T) (disturbed string) {
	ctx, cancel := context.WithTimeout(context.Background(), 40*time.Second)
	defer cancel()
	b := start(t)
	text := fmt.Sprintf(apartSite, b.URL()) + fmt.Sprintf(apartVehicle, "mole", 1) + fmt.Sprintf(apartVehicle, "vole", 2)
	s, err := config.Parse("site.toml", []byte(text), func(string) ([]byte, error) { return nil, os.ErrNotExist })
	if err != nil {
		t.Fatal(err)
	}
	p := &pair{mole: rover(ctx, t, b.URL(), "mole", 4, 0), vole: rover(ctx, t, b.URL(), "vole", 12, math.Pi), nearest: math.Inf(1)}
	defer p.mole.Close()
	defer p.vole.Close()
	running, end := context.WithCancel(ctx)
	defer end()
	done := make(chan Result, 1)
	go func() {
		r, err := Run(running, Options{Site: s, TrailDir: t.TempDir()})
		if err != nil {
			t.Error(err)
		}
		done <- r
	}()
	if p.op, err = sim.NewOperator(ctx, b.URL(), "", "desk", "mole", "vole"); err != nil {
		t.Fatal(err)
	}
	defer p.op.Close()
	for _, v := range []string{"mole", "vole"} {
		if err := p.op.Insist(ctx, v, sim.AskStart); err != nil {
			t.Fatal(err)
		}
	}
	p.mole.SetPilot(sim.NewDriving(sim.Course{Points: []sim.Vec{{X: 15, Y: 2}}, Speed: 0.8}))
	p.vole.SetPilot(sim.NewDriving(sim.Course{Points: []sim.Vec{{X: 1, Y: 2}}, Speed: 0.8}))
	p.until(ctx, t, func() bool { return p.stopped("mole") || p.stopped("vole") })
	first := !p.stopped("vole")
	p.until(ctx, t, func() bool {
		return p.stopped("mole") && p.stopped("vole") && p.mole.View().State.Still() && p.vole.View().State.Still()
	})
	disturbed = p.otherCause("mole") + p.otherCause("vole")
	if disturbed == "" && !first {
		t.Error("the one that does not yield was stopped first")
	}
	if p.nearest < 0.5 {
		t.Errorf("they came as near as %.3f m, where 0.5 m are declared", p.nearest)
	}
	end()
	rep, err := review.Reproduce((<-done).Session.Folder)
	if err != nil || !rep.Same {
		t.Fatalf("the trail judged again: %v %+v", err, rep)
	}
	t.Logf("nearest %.3f m; judged again: %d steps, %d records", p.nearest, rep.Steps, rep.Records)
	return disturbed
}

// pair is the two rovers and who looks after them.
type pair struct {
	mole, vole *sim.Node
	op         *sim.Operator
	nearest    float64 // m, between the two bodies, of all that was looked at
}

// until looks at where the two truly are until yes says so.
func (p *pair) until(ctx context.Context, t *testing.T, yes func() bool) {
	t.Helper()
	for !yes() {
		a, b := p.mole.View().State.Position, p.vole.View().State.Position
		p.nearest = min(p.nearest, math.Hypot(a.X-b.X, a.Y-b.Y)-0.6)
		select {
		case <-ctx.Done():
			m, _ := p.op.State("mole")
			v, _ := p.op.State("vole")
			t.Fatalf("waited for too long: mole %+v, vole %+v", m, v)
		case <-time.After(2 * time.Millisecond):
		}
	}
}

func (p *pair) stopped(vehicle string) bool {
	st, ok := p.op.State(vehicle)
	return ok && !st.Go && len(st.Latched) > 0
}

// otherCause is what a vehicle was stopped for beside the other's coming near.
func (p *pair) otherCause(vehicle string) string {
	st, _ := p.op.State(vehicle)
	for _, c := range st.Latched {
		if c.Cause != "apart" || strings.Contains(c.Text, "unknown") {
			return vehicle + ": " + c.Text + "; "
		}
	}
	return ""
}

// rover is a simulated rover at (x, 2) that looks along yaw.
func rover(ctx context.Context, t *testing.T, url, name string, x, yaw float64) *sim.Node {
	t.Helper()
	o := sim.DemoNode(sim.Mole, url, "", 7)
	o.Vehicle, o.Plant = name, sim.NewRover(sim.DemoRover(), x, 2, yaw, sim.Tick)
	o.Tracker.Name = name
	o.Pen = judge.Pen{Inside: []judge.Region{{Name: "hall", Outer: [][2]float64{{0, 0}, {16, 0}, {16, 4}, {0, 4}}, Floor: -1, Ceiling: 3}}, Radius: 0.3}
	n, err := sim.StartNode(ctx, o)
	if err != nil {
		t.Fatal(err)
	}
	return n
}
