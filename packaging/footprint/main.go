package main

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"time"

	"pinfold/packaging/ship"
)

func main() {
	minutes := flag.Float64("minutes", 2, "how long to measure")
	vehicles := flag.Int("vehicles", 1, "how many vehicles, each at --rate")
	rate := flag.Float64("rate", 200, "poses a second of each vehicle, Hz")
	program := flag.String("program", "", "program to measure; built as it is shipped where not given")
	limit := flag.String("memory", "96MiB", "GOMEMLIMIT of the program, as in the unit")
	url := flag.String("broker", "", "broker to use, mqtt://host:port, that lets anybody in; one of its own where not given")
	flag.Parse()
	dir, err := os.MkdirTemp("", "pinfold-footprint-")
	if err == nil {
		defer os.RemoveAll(dir)
		err = measure(&setting{dir: dir, program: *program, vehicles: *vehicles, limit: *limit, url: *url,
			every: time.Duration(float64(time.Second) / *rate), lasts: time.Duration(*minutes * float64(time.Minute))})
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "footprint:", err)
		os.Exit(2)
	}
}

// setting is what is measured.
type setting struct {
	dir, program, limit, url string
	vehicles                 int
	every, lasts             time.Duration
}

func measure(s *setting) error {
	if s.vehicles < 1 || s.vehicles > 50 || s.every <= 0 || s.lasts < 10*time.Second {
		return fmt.Errorf("1 to 50 vehicles, a rate above 0, at least 10 s")
	}
	if err := s.build(); err != nil {
		return err
	}
	g, err := begin(s)
	if err != nil {
		return err
	}
	defer g.end()
	fmt.Printf("%d × %.0f Hz for %v on %s/%s, %d processors, GOMEMLIMIT=%s\n", s.vehicles,
		1/s.every.Seconds(), s.lasts, runtime.GOOS, runtime.GOARCH, runtime.NumCPU(), s.limit)
	info, err := os.Stat(s.program)
	if err != nil {
		return err
	}
	fmt.Printf("program:                  %.1f MB\n", float64(info.Size())/1e6)
	first, err := g.firstJudgement()
	if err != nil {
		return err
	}
	fmt.Printf("start to first judgement: %.0f ms\n", first.Seconds()*1000)
	if err := g.permit(); err != nil {
		return err
	}
	a, err := g.account()
	if err != nil {
		return err
	}
	if n := g.missed.Load(); n > 0 {
		fmt.Printf("metrics:                  could not be read %d times\n", n)
	}
	a.print()
	g.end()
	return g.stalls()
}

// build makes the program as it is shipped, where none was given.
func (s *setting) build() error {
	if s.program != "" {
		return nil
	}
	s.program = filepath.Join(s.dir, "pinfold")
	c := ship.Build(s.program, "", "", "")
	if out, err := c.CombinedOutput(); err != nil {
		return fmt.Errorf("%w\n%s", err, out)
	}
	return nil
}
