package trial

import (
	"flag"
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"

	"pinfold/watchdog/pose"
	"pinfold/watchdog/pose/recording"
)

// load reads one of the published recordings, which are not of the project.
func load(t *testing.T, name string) (out []pose.Sample) {
	t.Helper()
	path := filepath.Join("../../../../shared/data", name)
	if _, err := os.Stat(path); err != nil {
		t.Skipf("needs the published recording %s: %v", name, err)
	}
	r, err := recording.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	for {
		s, err := r.Next()
		if err == io.EOF {
			return out
		}
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, s)
	}
}

func config() pose.Config {
	c := pose.DefaultConfig()
	c.MinConfidence = 0.5
	return c
}

// The recordings with the steps over 100 ms that their answers files list.
func TestNoFalseAlarm(t *testing.T) {
	for name, gaps := range map[string]int{"handheld_room.csv": 5, "drone_spiral.csv": 1, "pair_estimate.tum.txt": 0, "pair_truth.tum.txt": 1} {
		t.Run(name, func(t *testing.T) {
			bare := load(t, name)
			for what, run := range map[string]struct {
				cfg     pose.Config
				samples []pose.Sample
			}{"bare": {pose.DefaultConfig(), bare}, "equipped": {config(), Equip(bare, 100*time.Millisecond)}} {
				alarms, err := Clean(run.cfg, run.samples)
				if err != nil {
					t.Fatal(err)
				}
				stale := 0
				for _, a := range alarms {
					if !a.Gap {
						t.Errorf("%s: at %v: %s, and no gap is there", what, a.At, a.Names)
					}
					if a.Names == pose.Stale.Name() {
						stale++
					}
				}
				if stale != gaps {
					t.Errorf("%s: %d gaps seen, %d are there: %v", what, stale, gaps, alarms)
				}
			}
		})
	}
}

// The table of the documentation:
//
//	go test ./watchdog/pose/trial -run EveryFault -v -args -draws 1000
var manyDraws = flag.Int("draws", 30, "draws of every fault on every recording")

func TestEveryFaultIsDetected(t *testing.T) {
	draws := *manyDraws
	cfg := config()
	for _, name := range []string{"handheld_room.csv", "drone_spiral.csv"} {
		t.Run(name, func(t *testing.T) {
			rows, err := Run(cfg, Equip(load(t, name), cfg.MaxAge), draws, 1)
			if err != nil {
				t.Fatal(err)
			}
			if len(rows) != int(Faults) {
				t.Fatalf("%d rows", len(rows))
			}
			for _, r := range rows {
				t.Logf("%-20s %d/%d early %d median %v worst %v", r.Fault, r.Detected, r.Draws, r.Early, r.Median, r.Worst)
				if r.Detected != draws || r.Early != 0 {
					t.Errorf("%v: detected in %d of %d, %d early", r.Fault, r.Detected, draws, r.Early)
				}
				if most := longest(r.Fault, &cfg); r.Worst > most {
					t.Errorf("%v: %v to detect, at most %v is promised", r.Fault, r.Worst, most)
				}
			}
		})
	}
}

// longest is the time to detect that the thresholds promise; one step between
// messages, up to MaxAge, comes on top.
func longest(f Fault, c *pose.Config) time.Duration {
	switch f {
	case Silent:
		return c.MaxAge + 1
	case Frozen:
		return c.FrozenAfter + c.MaxAge
	case Swapped:
		return c.MaxAge
	case Thinned:
		return time.Second + c.MaxAge
	case Biased:
		return c.VelocityWindow + c.MaxAge
	case AtOrigin:
		return 2*time.Second + c.MaxAge
	case SetBack, LoneLeap:
		return pose.RestartAfter + 2*c.MaxAge
	case Backlog:
		return 10*c.MaxLate + 2*c.MaxAge
	}
	return 0 // with the faulty message itself
}

func TestSameSeedSameTable(t *testing.T) {
	cfg := config()
	samples := Equip(load(t, "drone_spiral.csv"), cfg.MaxAge)
	a, errA := Run(cfg, samples, 3, 7)
	b, errB := Run(cfg, samples, 3, 7)
	if errA != nil || errB != nil {
		t.Fatal(errA, errB)
	}
	for i := range a {
		if a[i] != b[i] {
			t.Errorf("%+v and %+v", a[i], b[i])
		}
	}
}

// A check that is off detects nothing: the table is able to say so.
func TestUndetectedFaultsShow(t *testing.T) {
	cfg := pose.Config{MaxAge: 100 * time.Millisecond}
	rows, err := Run(cfg, Equip(load(t, "drone_spiral.csv"), cfg.MaxAge), 5, 1)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rows {
		switch r.Fault {
		case Frozen, Jump, Thinned, Doubtful, Biased, AtOrigin, Backlog, Leap:
			if r.Detected != 0 {
				t.Errorf("%v detected %d times with its check off", r.Fault, r.Detected)
			}
		}
	}
}

func TestRefusals(t *testing.T) {
	if _, err := Run(pose.Config{}, nil, 1, 1); err == nil {
		t.Error("no samples, no error")
	}
	if _, err := Clean(pose.Config{}, make([]pose.Sample, 1)); err == nil {
		t.Error("a config that NewTrack refuses is taken")
	}
}
