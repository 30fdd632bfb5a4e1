package watchdog

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"pinfold/watchdog/pose"
)

// update asks for the transcripts to be written anew: explain every difference.
var update = flag.Bool("update", false, "write the transcripts anew")

// TestTranscripts plays the stories in testdata. A line that begins with # is
// prose; with > a command; an indented line is what the guard did in answer:
//
//	seconds  permit go|halt          when it changes
//	seconds  command stop|land ...   every sending
//	seconds  level, episode, ...     what goes into the trail
//
// What the tracker sends, 200 poses a second, is not shown.
func TestTranscripts(t *testing.T) {
	files, err := filepath.Glob("testdata/*.txt")
	if err != nil || len(files) < 12 {
		t.Fatalf("found %d transcripts: %v", len(files), err)
	}
	for _, f := range files {
		t.Run(strings.TrimSuffix(filepath.Base(f), ".txt"), func(t *testing.T) { playFile(t, f) })
	}
}

func playFile(t *testing.T, file string) {
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	got := play(t, string(want))
	if *update {
		if err := os.WriteFile(file, got, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if !bytes.Equal(got, want) {
		t.Errorf("%s differs; the guard now does:\n%s", file, diff(string(want), string(got)))
	}
}

// diff shows the first place where two texts part.
func diff(want, got string) string {
	w, g := strings.Split(want, "\n"), strings.Split(got, "\n")
	i := 0
	for i < len(w) && i < len(g) && w[i] == g[i] {
		i++
	}
	from := max(0, i-3)
	return fmt.Sprintf("line %d\nwant:\n%s\ngot:\n%s", i+1,
		strings.Join(w[from:min(len(w), i+6)], "\n"), strings.Join(g[from:min(len(g), i+6)], "\n"))
}

// story plays one transcript.
type story struct {
	t     *testing.T
	r     *rig
	out   bytes.Buffer
	shown bool // the newest permit shown
	known bool
	saved string
}

func play(t *testing.T, text string) []byte {
	s := &story{t: t}
	for n, line := range strings.Split(strings.TrimRight(text, "\n"), "\n") {
		if strings.HasPrefix(line, "    ") {
			continue
		}
		fmt.Fprintln(&s.out, line)
		if cmd, ok := strings.CutPrefix(line, "> "); ok {
			if err := s.do(strings.Fields(cmd)); err != nil {
				t.Fatalf("line %d: %q: %v", n+1, line, err)
			}
		}
	}
	return s.out.Bytes()
}

// args are the key=value words of a command.
type args map[string]string

func parseArgs(words []string) (plain []string, a args) {
	a = args{}
	for _, w := range words {
		if k, v, ok := strings.Cut(w, "="); ok {
			a[k] = v
		} else {
			plain = append(plain, w)
		}
	}
	return plain, a
}

func (a args) num(key string, otherwise float64) float64 {
	v, ok := a[key]
	if !ok {
		return otherwise
	}
	f, err := strconv.ParseFloat(v, 64)
	if err != nil {
		panic(err)
	}
	return f
}

func (a args) span(key string) time.Duration {
	d, err := time.ParseDuration(a[key])
	if err != nil {
		panic(err)
	}
	return d
}

func (s *story) do(words []string) error {
	plain, a := parseArgs(words[1:])
	r := s.r
	if words[0] == "vehicle" {
		return s.vehicle(plain, a)
	}
	if r == nil {
		return fmt.Errorf("the first command must be vehicle")
	}
	if s.motion(words[0], a) || s.message(words[0], plain, a) {
		return nil
	}
	switch words[0] {
	case "silence":
		r.silence(a.span("for"))
	case "held-up":
		r.now += a.span("for")
		r.step(Event{Kind: EvTick})
	case "show":
		s.show()
	case "tighten":
		return s.tighten(a)
	default:
		return fmt.Errorf("no such command")
	}
	return nil
}

// vehicle makes a new guard, and starts it where asked to.
func (s *story) vehicle(plain []string, a args) error {
	c := testConfig(s.t)
	if plain[0] == "rover" {
		c.Kind, c.Vehicle = Rover, "mole"
	}
	c.Stopping.Predict = a["predict"] != "off"
	c.Limits[LimitSpeed].Confirm = int(a.num("confirm", 2))
	if v := a.num("slow", 0); v > 0 {
		c.Slow = []SlowZone{stairHead(v)}
	}
	if a["link"] != "" {
		c.Stopping.Trip, c.Timing.TripMost = a.span("link"), a.span("budget")
	}
	s.r, s.known = newRig(s.t, c), false
	s.r.p = pose.Vec{X: a.num("x", 1), Y: a.num("y", 2.5), Z: a.num("z", 1)}
	if len(plain) > 1 && plain[1] == "started" {
		s.r.started()
		s.shown, s.known = true, true
	}
	s.r.out = s.effects
	return nil
}

// motion are the commands that move the vehicle.
func (s *story) motion(word string, a args) bool {
	r := s.r
	switch word {
	case "still":
		r.still(a.span("for"))
	case "move":
		r.v = pose.Vec{X: a.num("vx", r.v.X), Y: a.num("vy", r.v.Y), Z: a.num("vz", r.v.Z)}
		r.tilt = a.num("tilt", r.tilt)
		r.move(a.span("for"), pose.Vec{X: a.num("ax", 0), Y: a.num("ay", 0), Z: a.num("az", 0)})
	case "brake":
		r.brake(a.num("a", 3))
	case "place":
		r.p = pose.Vec{X: a.num("x", r.p.X), Y: a.num("y", r.p.Y), Z: a.num("z", r.p.Z)}
	case "tracker":
		r.conf, r.tracker = a.num("confidence", r.conf), a["id"]+r.tracker
	default:
		return false
	}
	return true
}

// message are the commands that send something else than poses.
func (s *story) message(word string, plain []string, a args) bool {
	r := s.r
	switch word {
	case "ask":
		s.ask(plain, a)
	case "durable":
		r.step(Event{Kind: EvDurable, Token: r.token, Failed: len(plain) > 0 && plain[0] == "failed"})
	case "ack":
		id := r.command.ID
		if len(plain) > 0 {
			id = plain[0]
		}
		r.step(Event{Kind: EvAck, Text: id})
	case "link":
		r.step(Event{Kind: EvLink, Up: plain[0] == "up"})
	case "trip":
		d, err := time.ParseDuration(plain[0])
		if err != nil {
			panic(err)
		}
		r.step(Event{Kind: EvTrip, Trip: d})
	case "trail":
		r.step(Event{Kind: EvTrail, Up: plain[0] == "up"})
	case "close":
		r.step(Event{Kind: EvClose, Text: strings.Join(plain, " ")})
	case "payload":
		r.step(Event{Kind: EvPose, Payload: []byte(strings.Join(plain, " "))})
	default:
		return false
	}
	return true
}

func (s *story) ask(plain []string, a args) {
	r := s.r
	ask, _ := ParseAsk(plain[0])
	now := r.nonce()
	nonce := map[string]string{"": now, "current": now, "none": "", "saved": s.saved}[a["nonce"]]
	if a["save"] != "" {
		s.saved = now
	}
	r.step(Event{Kind: EvRequest, Ask: ask, By: a["by"], Nonce: nonce, Retrieve: a["retrieve"] == "yes", Retained: a["retained"] == "yes"})
}

func (s *story) tighten(a args) error {
	c := s.r.cfg
	c.Hash = "h1"
	c.Limits[LimitSpeed].Max = a.num("speed", c.Limits[LimitSpeed].Max)
	c.Limits[LimitSpeed].Caution = min(c.Limits[LimitSpeed].Caution, c.Limits[LimitSpeed].Max)
	c.Stopping.Margin = a.num("margin", c.Stopping.Margin)
	effects, err := s.r.g.Tighten(c, s.r.now)
	if err != nil {
		s.line(s.r.now, "refused: %v", err)
		return nil
	}
	s.r.cfg = c
	s.r.took(effects)
	return nil
}
