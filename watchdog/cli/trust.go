package cli

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"time"

	"pinfold/watchdog/pose"
	"pinfold/watchdog/pose/recording"
	"pinfold/watchdog/pose/trial"
)

type trustCmd struct {
	Site    string   `help:"Site file whose thresholds are tried; without it the defaults." placeholder:"FILE"`
	Vehicle string   `help:"Vehicle of the site." placeholder:"NAME"`
	Draws   int      `default:"1000" help:"How often every fault is put in."`
	Seed    uint64   `default:"1" help:"The same seed gives the same table."`
	JSON    bool     `name:"json" help:"Print one JSON document."`
	Paths   []string `arg:"" name:"file" help:"Recordings of good poses: CSV with a header, or TUM text."`
}

// maxDraws bounds the time a table may take.
const maxDraws = 100_000

// trustTable is what became of every fault on one recording.
type trustTable struct {
	Recording string      `json:"recording"`
	Samples   int         `json:"samples"`
	Gaps      int         `json:"alarms_at_gaps"` // alarms where a silence is really there
	False     int         `json:"false_alarms"`
	Rows      []trustLine `json:"faults"`
}

type trustLine struct {
	Fault    string  `json:"fault"`
	Draws    int     `json:"draws"`
	Detected int     `json:"detected"`
	Early    int     `json:"early"` // distrusted before the fault came
	Median   float64 `json:"median_ms"`
	Worst    float64 `json:"worst_ms"`
}

// Run puts every fault into recordings and prints what the trust noticed.
func (c *trustCmd) Run(s *streams) error {
	if c.Draws < 1 || c.Draws > maxDraws {
		return fmt.Errorf("--draws %d: must be 1 to %d", c.Draws, maxDraws)
	}
	cfg := pose.DefaultConfig()
	cfg.MinConfidence = 0.5 // a fault the table tries; the recordings are given a confidence
	if c.Site != "" {
		v, err := siteVehicle(c.Site, c.Vehicle)
		if err != nil {
			return err
		}
		cfg = v.Config.Pose
		cfg.Align = pose.Alignment{} // of another tracker than the recording's
	}
	bad, all := 0, []trustTable{}
	for _, path := range c.Paths {
		t, err := c.table(path, cfg)
		if err != nil {
			return fmt.Errorf("%s: %w", path, err)
		}
		if all = append(all, t); !c.JSON {
			t.print(s.out)
		}
		bad += t.bad()
	}
	if c.JSON {
		if err := printJSON(s.out, all); err != nil {
			return err
		}
	}
	if bad > 0 {
		return found("%s not detected, too early or false", count(bad, "alarm"))
	}
	return nil
}

func (c *trustCmd) table(path string, cfg pose.Config) (trustTable, error) {
	t := trustTable{Recording: filepath.Base(path)}
	samples, err := readRecording(path)
	if err != nil {
		return t, err
	}
	t.Samples = len(samples)
	samples = trial.Equip(samples, cfg.MaxAge)
	alarms, err := trial.Clean(cfg, samples)
	if err != nil {
		return t, err
	}
	for _, a := range alarms {
		if a.Gap {
			t.Gaps++
		} else {
			t.False++
		}
	}
	rows, err := trial.Run(cfg, samples, c.Draws, c.Seed)
	for _, r := range rows {
		t.Rows = append(t.Rows, trustLine{r.Fault.String(), r.Draws, r.Detected, r.Early, inMs(r.Median), inMs(r.Worst)})
	}
	return t, err
}

func inMs(d time.Duration) float64 { return float64(d) / float64(time.Millisecond) }

// bad counts what is not as it should be.
func (t *trustTable) bad() int {
	n := t.False
	for _, r := range t.Rows {
		n += r.Draws - r.Detected + r.Early
	}
	return n
}

func (t *trustTable) print(w io.Writer) {
	fmt.Fprintf(w, "%s: %d samples, %d false alarms, %d at silences that are there\n", t.Recording, t.Samples, t.False, t.Gaps)
	out := newTable("fault", "detected", "early", "median ms", "worst ms")
	for _, r := range t.Rows {
		out.row(r.Fault, fmt.Sprintf("%d/%d", r.Detected, r.Draws), fmt.Sprint(r.Early),
			fmt.Sprintf("%.0f", r.Median), fmt.Sprintf("%.0f", r.Worst))
	}
	out.print(w)
}

// readRecording reads a recording as a whole.
func readRecording(path string) (out []pose.Sample, err error) {
	r, err := recording.Open(path)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	for {
		s, err := r.Next()
		if errors.Is(err, io.EOF) {
			return out, nil
		}
		if err != nil {
			return nil, err
		}
		out = append(out, s)
	}
}
