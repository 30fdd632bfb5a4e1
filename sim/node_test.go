package sim

import (
	"context"
	"strings"
	"testing"
	"time"

	"pinfold/sim/judge"
	"pinfold/watchdog/link"
	"pinfold/watchdog/link/wire"
)

// listener hears everything on one topic.
func listener(t *testing.T, url, topic string) *bus {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	b, err := dial(ctx, url, "listener", subscription{topic, 0})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(b.close)
	return b
}

// A node publishes poses in real time with stamps of its own clock, each newer
// than the last, and acknowledges commands.
func TestNodePublishes(t *testing.T) {
	t.Parallel()
	b := startBroker(t)
	ear := listener(t, b.URL(), "pinfold/wren/+")
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	n, err := StartNode(ctx, DemoNode(Wren, b.URL(), "", 1))
	if err != nil {
		t.Fatal(err)
	}
	defer n.Close()
	at := n.Clock()
	if at < 1000*time.Second || at > 1010*time.Second {
		t.Errorf("its clock shows %v, wanted 1000 s and a little", at)
	}
	command, err := ear.outlet("pinfold/wren/command", 0)
	if err != nil {
		t.Fatal(err)
	}
	command.put((&wire.Command{ID: "c7", Seq: 1, Action: "land", Cause: "zone"}).Append(nil), 5*time.Second)
	poses, acks, last := 0, 0, int64(0)
	var m link.Message
	for end := time.Now().Add(10 * time.Second); time.Now().Before(end) && (poses < 100 || acks < 1); time.Sleep(10 * ms) {
		for ear.inbox.Take(&m) {
			switch {
			case strings.HasSuffix(m.Topic, "/pose"):
				poses++
				stamp := stampOf(t, m.Payload)
				if stamp <= last {
					t.Fatalf("stamp %d after %d", stamp, last)
				}
				last = stamp
			case strings.HasSuffix(m.Topic, "/ack"):
				if a, err := wire.DecodeAck(m.Payload); err != nil || a.ID != "c7" || a.Action != "land" {
					t.Errorf("ack %+v, %v", a, err)
				}
				acks++
			}
		}
	}
	if poses < 100 || acks != 1 {
		t.Errorf("%d poses, %d acks", poses, acks)
	}
	if behind := n.Clock() - time.Duration(last); behind < 0 || behind > time.Second {
		t.Errorf("the newest pose is %v old on the vehicle's clock", behind)
	}
	if v := n.View(); v.MayMove || !v.State.Grounded || v.Room <= 0 || v.Halts != 0 {
		t.Errorf("view %+v", v)
	}
}

func stampOf(t *testing.T, pose []byte) int64 {
	t.Helper()
	text := string(pose)
	from := strings.Index(text, `"stamp":`) + len(`"stamp":`)
	to := strings.IndexByte(text[from:], ',')
	ns, ok := wire.ParseStamp([]byte(text[from : from+to]))
	if !ok {
		t.Fatalf("pose %s", text)
	}
	return ns
}

func TestStartNodeRefuses(t *testing.T) {
	ctx, cancel := context.WithTimeout(context.Background(), 100*ms)
	defer cancel()
	for want, o := range map[string]NodeOptions{
		"without a plant":     {Vehicle: "x"},
		"every vehicle":       func() NodeOptions { o := DemoNode(Mole, "", "", 1); o.Vehicle = "all"; return o }(),
		"no keep-in region":   func() NodeOptions { o := DemoNode(Mole, "", "", 1); o.Pen = judge.Pen{}; return o }(),
		"no link":             DemoNode(Mole, "mqtt://127.0.0.1:9", "", 1),
		`scheme "ftp" is not`: DemoNode(Mole, "ftp://127.0.0.1:9", "", 1),
	} {
		n, err := StartNode(ctx, o)
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("got %v, wanted %q", err, want)
		}
		if n != nil {
			n.Close()
		}
	}
}

// The faults do what they say, and Recover ends them.
func TestFaults(t *testing.T) {
	r, err := newRig(DemoNode(Mole, "", "", 1))
	if err != nil {
		t.Fatal(err)
	}
	n := &Node{rig: r}
	n.Faults.node = n
	heard := func() (poses int, text string) {
		r.advance(r.now + 50*ms)
		out, _ := r.collect()
		for _, p := range out {
			text = string(p)
		}
		return len(out), text
	}
	if c, _ := heard(); c != 10 {
		t.Fatalf("%d poses in 50 ms", c)
	}
	n.Faults.Lose(true)
	if c, _ := heard(); c > 1 { // one was on its way
		t.Errorf("%d poses from a lost tracker", c)
	}
	n.Faults.Recover()
	n.Faults.Freeze(true)
	_, one := heard()
	_, two := heard()
	if position(one) != position(two) || one == two {
		t.Errorf("frozen: %s, then %s", one, two)
	}
	n.Faults.Recover()
	_, before := heard()
	n.Faults.Jump(Vec{X: 2})
	_, jumped := heard()
	if position(before)[:6] != `"x":9.` && position(before)[:6] != `"x":8.` || position(jumped)[:7] != `"x":11.` && position(jumped)[:7] != `"x":10.` {
		t.Errorf("jumped from %s to %s", position(before), position(jumped))
	}
	n.Faults.Recover()
	n.Faults.Doubt(0.25)
	if _, text := heard(); !strings.Contains(text, `"confidence":0.250000`) {
		t.Errorf("doubtful: %s", text)
	}
	n.Faults.Silence(true)
	heard()
	if c, _ := heard(); c != 0 {
		t.Errorf("%d poses from a silent node", c)
	}
	n.Faults.Recover()
	n.Faults.RestartTracker()
	heard()
	if _, text := heard(); !strings.Contains(text, `"tracker":"cart-eye-2"`) || !strings.Contains(text, `"confidence":1.000000`) {
		t.Errorf("restarted: %s", text)
	}
}

// position is the part of a pose between its position and its orientation.
func position(pose string) string {
	_, rest, _ := strings.Cut(pose, `"position":{`)
	p, _, _ := strings.Cut(rest, `}`)
	return p
}
