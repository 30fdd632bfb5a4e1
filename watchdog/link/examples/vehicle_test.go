package examples

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os/exec"
	"strings"
	"testing"

	"pinfold/watchdog/link/receiver"
	"pinfold/watchdog/link/sign"
	"pinfold/watchdog/link/wire"
)

// python finds an interpreter that has a module.
func python(t *testing.T, module, debian string) string {
	t.Helper()
	for _, name := range []string{"python3", "/usr/bin/python3"} {
		if exec.Command(name, "-c", "import "+module).Run() == nil {
			return name
		}
	}
	t.Skipf("no python3 with %s; install it (Debian: apt-get install %s) to run this test", module, debian)
	return ""
}

// line is one message, or with no topic only a turn of the clock.
type line struct {
	topic    string // permit, command, all, or -
	retained bool
	now      int64
	payload  []byte
}

// story is a random session of three watchdogs and a bad network; one seed
// makes one story.
type story struct {
	rng   *rand.Rand
	now   int64
	seqs  [3]uint64
	lines []line
}

const ms = int64(1e6)

func tell(seed uint64, n int) []line {
	s := &story{rng: rand.New(rand.NewPCG(seed, 1)), now: 1000 * ms}
	for range n {
		s.next()
	}
	return s.lines
}

func (s *story) say(topic string, payload []byte) {
	s.lines = append(s.lines, line{topic, s.rng.IntN(20) == 0, s.now, payload})
}

func (s *story) next() {
	s.now += s.rng.Int64N(60 * ms)
	switch s.rng.IntN(12) {
	case 0, 1, 2, 3, 4:
		s.permit(s.rng.IntN(4) > 0, s.now-s.rng.Int64N(50*ms))
	case 5:
		s.permit(s.rng.IntN(2) > 0, s.now+s.rng.Int64N(600*ms)-400*ms)
	case 6:
		c := wire.Command{ID: fmt.Sprint("c", s.rng.IntN(50)), Action: []string{wire.Stop, wire.Land}[s.rng.IntN(2)], Value: math.NaN(), Limit: 1.5}
		s.say([]string{"command", "command", "command", "all"}[s.rng.IntN(4)], c.Append(nil))
	case 7:
		if n := len(s.lines); n > 0 {
			old := s.lines[s.rng.IntN(n)]
			s.lines = append(s.lines, line{old.topic, old.retained, s.now, old.payload})
		}
	case 8:
		s.spoil()
	case 9: // the clock is set back
		s.now -= s.rng.Int64N(400 * ms)
		s.lines = append(s.lines, line{"-", false, s.now, nil})
	default:
		s.now += s.rng.Int64N(300*ms) - 10*ms
		s.lines = append(s.lines, line{"-", false, s.now, nil})
	}
}

func (s *story) permit(yes bool, stamp int64) {
	k := s.rng.IntN(12) / 5 // mostly the first two
	s.seqs[k]++
	p := wire.Permit{Guard: "g", Session: fmt.Sprint("s", k), Seq: s.seqs[k], Go: yes, Stamp: stamp, Valid: []float64{0.25, 0.1, 1}[s.rng.IntN(3)]}
	s.say("permit", p.Append(nil))
}

// spoil says a permit, seldom a command, with something wrong in it.
func (s *story) spoil() {
	s.seqs[0]++
	p := wire.Permit{Guard: "g", Session: "s0", Seq: s.seqs[0], Go: true, Stamp: s.now, Valid: 0.25}
	text := string(p.Append(nil))
	wrong := [][2]string{{`"go":true`, `"go":1`}, {`"go":true`, `"go":true,"go":true`}, {`"go":true`, `"Go":true`}, {`0.25`, `1.5`}, {`0.25`, `NaN`},
		{`0.25`, `-0.1`}, {`0.25`, `1e999`}, {`"g"`, `""`}, {`"seq":`, `"seq":-`}, {`}`, ``}, {`}`, `}{}`}, {`"guard"`, `"later":[1],"guard"`},
		{`"valid":0.25`, `"valid":2.5e-1`}, {`"stamp":`, `"stamp":1e30,"x":`}, {`"stamp":`, `"stamp":null,"x":`}, {`"seq":`, `"seq":1.0,"x":`}}
	w := wrong[s.rng.IntN(len(wrong))]
	topic := "permit"
	if s.rng.IntN(6) == 0 {
		topic = "command"
	}
	s.say(topic, []byte(strings.Replace(text, w[0], w[1], 1)))
}

// signLines signs a story's messages: most as they have to be, and some not, with
// another key, or for another topic.
func signLines(lines []line, seed uint64, key *sign.Key, topics *wire.TopicSet) {
	rng, other := rand.New(rand.NewPCG(seed, 2)), sign.NewKey()
	for i := range lines {
		l := &lines[i]
		topic := map[string]string{"permit": topics.Permit, "command": topics.Command, "all": topics.AllCommand}[l.topic]
		by := key
		switch rng.IntN(20) {
		case 0:
			by = nil
		case 1:
			by = other
		case 2:
			topic = strings.Replace(topic, "wren", "mole", 1)
		case 3:
			topic = topics.Ack
		}
		l.payload = sign.New(by, topic).Sign(append([]byte(nil), l.payload...))
	}
}

// judge is what the receiver package says after each line.
func judge(t *testing.T, lines []line, key *sign.Key, topics *wire.TopicSet) []string {
	t.Helper()
	r, err := receiver.New(receiver.Options{Key: key, Topics: *topics})
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, l := range lines {
		ack := []byte(nil)
		switch l.topic {
		case "permit":
			r.Permit(l.payload, l.retained, l.now)
		case "command":
			ack = r.Command(l.payload, l.retained, l.now)
		case "all":
			r.AllCommand(l.payload, l.retained, l.now)
		}
		v := r.MayMove(l.now)
		word := v.Action.String()
		if v.Go {
			word = "go"
		}
		out = append(out, fmt.Sprintf("%s %s", word, ack))
	}
	return out
}

// compare gives the stories to another implementation, which answers a line for
// a line, and looks for the first difference; unsigned ones, and with a key signed
// ones.
func compare(t *testing.T, key *sign.Key, cmd *exec.Cmd) {
	t.Helper()
	topics, err := wire.Topics(wire.DefaultPrefix, "wren")
	if err != nil {
		t.Fatal(err)
	}
	var in bytes.Buffer
	var want []string
	var all []line
	goes := 0
	for seed := range uint64(60) {
		lines := tell(seed, 200)
		if key == nil {
			fmt.Fprintln(&in, "new")
		} else {
			fmt.Fprintf(&in, "new %x\n", key[:])
			signLines(lines, seed, key, &topics)
		}
		for _, l := range lines {
			fmt.Fprintf(&in, "%s %v %d %s\n", l.topic, l.retained, l.now, l.payload)
		}
		want = append(want, judge(t, lines, key, &topics)...)
		all = append(all, lines...)
	}
	for _, w := range want {
		if strings.HasPrefix(w, "go") {
			goes++
		}
	}
	if goes < len(want)/20 {
		t.Fatalf("%d goes in %d lines: the stories show too little", goes, len(want))
	}
	cmd.Stdin = &in
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%v: %s", err, stderr.Bytes())
	}
	got := strings.Split(strings.TrimSuffix(string(out), "\n"), "\n")
	if len(got) != len(want) {
		t.Fatalf("%d answers for %d lines: %s", len(got), len(want), stderr.Bytes())
	}
	for i := range want {
		if strings.TrimSpace(got[i]) != strings.TrimSpace(want[i]) {
			t.Fatalf("line %d, %+v %s:\n got %s\nwant %s", i, all[i], all[i].payload, got[i], want[i])
		}
	}
	t.Logf("%d lines, %d of them go", len(want), goes)
}

const pythonHarness = `
import sys, vehicle
for text in sys.stdin:
    text = text.rstrip("\n")
    if text.startswith("new"):
        r = vehicle.Receiver(key=bytes.fromhex(text[4:]) or None, base="pinfold/wren")
        continue
    topic, retained, now, payload = text.split(" ", 3)
    now, payload, ack = int(now), payload.encode(), None
    if topic == "permit": r.permit(payload, retained == "true", now)
    elif topic == "command": ack = r.command(payload, now)
    elif topic == "all": r.all_command(payload, now)
    print(r.may_move(now)[0], (ack or b"").decode())
`

func TestPythonVehicleSaysWhatTheReceiverSays(t *testing.T) {
	for name, key := range map[string]*sign.Key{"unsigned": nil, "signed": sign.NewKey()} {
		t.Run(name, func(t *testing.T) {
			compare(t, key, exec.Command(python(t, "json", "python3"), "-B", "-c", pythonHarness))
		})
	}
}
