package watchdog

import (
	"strings"
	"testing"
	"time"

	"pinfold/watchdog/pose"
	"pinfold/zones"
)

// shapes is the cage's declaration, to be changed.
func shapes() []zones.Shape {
	return []zones.Shape{
		{Name: "cage", Kind: zones.KeepIn, Floor: -1, Ceiling: 3.2, Rings: [][]zones.XY{box(0, 0, 7, 5)}},
		{Name: "post", Kind: zones.KeepOut, Floor: -1, Ceiling: 3.2, Rings: [][]zones.XY{box(4, 2, 4.1, 2.1)}},
	}
}

func setOf(t *testing.T, s ...zones.Shape) *zones.Set {
	t.Helper()
	set, err := zones.New(s)
	if err != nil {
		t.Fatal(err)
	}
	return set
}

// TestTightenRefuses: nothing looser is taken, and a refusal changes nothing.
func TestTightenRefuses(t *testing.T) {
	zoned := func(change func(s []zones.Shape) []zones.Shape) func(c *Config) {
		return func(c *Config) { c.Zones = setOf(t, change(shapes())...) }
	}
	hole := box(5, 3, 6, 4)
	for what, loosen := range map[string]func(c *Config){
		"invalid":       func(c *Config) { c.Radius = -1 },
		"session":       func(c *Config) { c.Session = "other" },
		"vehicle":       func(c *Config) { c.Vehicle = "other" },
		"kind":          func(c *Config) { c.Kind = Rover },
		"ground":        func(c *Config) { c.Ground = -1 },
		"home":          func(c *Config) { c.Home.X = 1 },
		"fields":        func(c *Config) { c.Fields.Seq = "/n" },
		"max age":       func(c *Config) { c.Pose.MaxAge *= 2 },
		"radius":        func(c *Config) { c.Radius /= 2 },
		"zone caution":  func(c *Config) { c.ZoneCaution = 0 },
		"reaction":      func(c *Config) { c.Stopping.Reaction /= 2 },
		"deceleration":  func(c *Config) { c.Stopping.Deceleration *= 2 },
		"vertical":      func(c *Config) { c.Stopping.Vertical *= 2 },
		"margin":        func(c *Config) { c.Stopping.Margin = 0 },
		"position":      func(c *Config) { c.Stopping.PositionErr = 0 },
		"velocity":      func(c *Config) { c.Stopping.VelocityErr = 0 },
		"prediction":    func(c *Config) { c.Stopping.Predict = false },
		"validity":      func(c *Config) { c.Timing.PermitValid *= 2 },
		"ack":           func(c *Config) { c.Timing.AckWithin *= 2 },
		"stall":         func(c *Config) { c.Timing.Stall *= 2 },
		"trusted":       func(c *Config) { c.Timing.TrustedFor = 0 },
		"rest speed":    func(c *Config) { c.Timing.RestSpeed *= 2 },
		"obey slack":    func(c *Config) { c.Timing.ObeySlack *= 2 },
		"obey share":    func(c *Config) { c.Timing.ObeyTolerance /= 2 },
		"obey confirm":  func(c *Config) { c.Timing.ObeyConfirm++ },
		"limit off":     func(c *Config) { c.Limits[LimitTilt].On = false },
		"limit larger":  func(c *Config) { c.Limits[LimitTilt].Max++ },
		"limit caution": func(c *Config) { c.Limits[LimitTilt].Caution++ },
		"limit confirm": func(c *Config) { c.Limits[LimitTilt].Confirm++ },
		"limit answer":  func(c *Config) { c.Limits[LimitTilt].Answer = ActCaution },
		"new keep-in": zoned(func(s []zones.Shape) []zones.Shape {
			return append(s, zones.Shape{Name: "annex", Kind: zones.KeepIn, Floor: -1, Ceiling: 3.2, Rings: [][]zones.XY{box(7, 0, 9, 5)}})
		}),
		"wider keep-in":   zoned(func(s []zones.Shape) []zones.Shape { s[0].Rings[0] = box(0, 0, 7.01, 5); return s }),
		"higher keep-in":  zoned(func(s []zones.Shape) []zones.Shape { s[0].Ceiling = 3.3; return s }),
		"keep-out gone":   zoned(func(s []zones.Shape) []zones.Shape { return s[:1] }),
		"keep-out shrunk": zoned(func(s []zones.Shape) []zones.Shape { s[1].Rings[0] = box(4.01, 2, 4.1, 2.1); return s }),
		"keep-out lower":  zoned(func(s []zones.Shape) []zones.Shape { s[1].Ceiling = 3; return s }),
		"keep-out with gap": zoned(func(s []zones.Shape) []zones.Shape {
			s[1].Rings = [][]zones.XY{box(4, 2, 4.1, 2.1), box(4.04, 2.04, 4.06, 2.06)}
			return s
		}),
		"kinds swapped": zoned(func(s []zones.Shape) []zones.Shape { s[0].Name, s[1].Name = s[1].Name, s[0].Name; return s }),
	} {
		r := newRig(t, testConfig(t)).started()
		before := r.g.Snapshot()
		c := r.cfg
		loosen(&c)
		effects, err := r.g.Tighten(c, r.now)
		if err == nil || effects != nil {
			t.Errorf("%s: taken", what)
			continue
		}
		after := r.g.Snapshot()
		if after.Level != before.Level || after.Go != before.Go || after.Nonce != before.Nonce || r.g.cfg.Radius != r.cfg.Radius {
			t.Errorf("%s: the refusal changed something", what)
		}
	}
	// A hole filled in a keep-in is room it did not give before.
	c := testConfig(t)
	s := shapes()
	s[0].Rings = append(s[0].Rings, hole)
	c.Zones = setOf(t, s...)
	r := newRig(t, c)
	c.Zones = cage(t)
	if _, err := r.g.Tighten(c, r.now); err == nil || !strings.Contains(err.Error(), "cage") {
		t.Errorf("a filled hole: %v", err)
	}
}

// TestTightenTakes: what is tighter is taken, with its record first of all
// records, and durable.
func TestTightenTakes(t *testing.T) {
	for what, tighten := range map[string]func(c *Config){
		"nothing":   func(c *Config) {},
		"limit":     func(c *Config) { c.Limits[LimitSpeed].Max = 1; c.Limits[LimitSpeed].Caution = 0.9 },
		"new limit": func(c *Config) { c.Limits[LimitClimb] = Limit{On: true, Max: 1, Caution: 1, Answer: ActStop} },
		"margin":    func(c *Config) { c.Stopping.Margin = 0.2 },
		"cover":     func(c *Config) { c.Stopping.CoverLoss = true },
		"smaller keep-in": func(c *Config) {
			s := shapes()
			s[0].Rings[0] = box(0.1, 0.1, 7, 5)
			c.Zones = setOf(t, s...)
		},
		"more keep-out": func(c *Config) {
			s := append(shapes(), zones.Shape{Name: "new", Kind: zones.KeepOut, Floor: -1, Ceiling: 3, Rings: [][]zones.XY{box(6, 4, 6.5, 4.5)}})
			s[1].Rings[0] = box(3.9, 1.9, 4.2, 2.2)
			c.Zones = setOf(t, s...)
		},
	} {
		r := newRig(t, testConfig(t)).started()
		c := r.cfg
		c.Hash = "h1"
		tighten(&c)
		effects, err := r.g.Tighten(c, r.now)
		if err != nil {
			t.Errorf("%s: %v", what, err)
			continue
		}
		taken := bodies[ConfigTaken](effects)
		if len(taken) != 1 || taken[0].Hash != "h1" {
			t.Errorf("%s: recorded %+v", what, taken)
		}
		r.laws.seq = r.g.permitSeq
		r.still(100 * ms)
		r.wantLevel(Clear)
	}
}

// TestTightenKeeps: what is latched, open and known goes on under the new
// config, and the newest pose is judged by it at once.
func TestTightenKeeps(t *testing.T) {
	c := testConfig(t)
	c.Stopping.Predict = false
	r := newRig(t, c).started()
	r.v = pose.Vec{X: 1.6}
	r.move(50*ms, pose.Vec{})
	r.wantLatched("speed")
	nonce, began := r.nonce(), r.g.subjects[r.g.limit0+int(LimitSpeed)].ep.From
	c.Limits[LimitSpeed].Max, c.Limits[LimitSpeed].Caution = 1, 1
	s := shapes()
	s[0].Rings[0] = box(1.2, 0, 7, 5) // the vehicle stands outside of that
	s = append([]zones.Shape{{Name: "aaa", Kind: zones.KeepOut, Floor: -1, Ceiling: 3, Rings: [][]zones.XY{box(6, 4, 6.5, 4.5)}}}, s...)
	c.Zones = setOf(t, s...)
	effects, err := r.g.Tighten(c, r.now)
	if err != nil {
		t.Fatal(err)
	}
	r.took(effects)
	r.laws.seq, r.laws.nonce = r.g.permitSeq, r.nonce()
	r.wantLevel(Stop)
	r.wantLatched("speed", "zone")
	if r.nonce() == nonce {
		t.Error("a new stop left the nonce as it was")
	}
	var ends []Episode
	r.out = func(_ time.Duration, e []Effect) {
		for _, x := range e {
			if b, ok := x.Record.Body.(Episode); ok && x.Record.Kind == RecEpisode && b.Cause == "speed" {
				ends = append(ends, b)
			}
		}
	}
	r.v = pose.Vec{X: 0.9}
	r.move(10*ms, pose.Vec{})
	if len(ends) != 1 || ends[0].From != began || ends[0].Worst != 1.6 {
		t.Errorf("the speed episode that began at %v ended as %+v", began, ends)
	}
}
