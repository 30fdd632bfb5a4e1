package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"pinfold/watchdog"
	"pinfold/watchdog/trail"
)

// account is what the kernel says of the program over the time measured.
type account struct {
	at       []float64 // s
	resident []float64 // MB, at those instants
	peak     float64   // MB
	file     float64   // MB, of the last: pages of the program's own file, which can be dropped
	busy     float64   // share of one core
	wall     time.Duration
}

// tick is the kernel's unit of a process's time (proc(5), sysconf(_SC_CLK_TCK)),
// 100 to a second on every Linux that Go runs on.
const tick = 10 * time.Millisecond

func (g *guard) account() (*account, error) {
	a := &account{}
	begun := time.Now()
	before, err := g.used()
	if err != nil {
		return nil, err
	}
	for time.Since(begun) < g.set.lasts {
		time.Sleep(min(time.Second, g.set.lasts-time.Since(begun)))
		m, err := g.memory()
		if err != nil {
			return nil, err
		}
		a.at, a.resident = append(a.at, time.Since(begun).Seconds()), append(a.resident, m["VmRSS:"])
		a.peak, a.file = m["VmHWM:"], m["RssFile:"]
	}
	after, err := g.used()
	a.wall = time.Since(begun)
	a.busy = (after - before).Seconds() / a.wall.Seconds()
	return a, err
}

func (g *guard) proc(file string) string {
	return filepath.Join("/proc", strconv.Itoa(g.cmd.Process.Pid), file)
}

// used is the processor time so far, user's and system's: fields 14 and 15 of
// proc(5) stat, counted behind the name, which may hold anything.
func (g *guard) used() (time.Duration, error) {
	text, err := os.ReadFile(g.proc("stat"))
	if err != nil {
		return 0, fmt.Errorf("%w: has the program ended? %s", err, g.said.String())
	}
	f := strings.Fields(string(text[strings.LastIndexByte(string(text), ')')+1:]))
	user, err1 := strconv.Atoi(f[11])
	system, err2 := strconv.Atoi(f[12])
	if err1 != nil || err2 != nil {
		return 0, fmt.Errorf("%s: %q", g.proc("stat"), text)
	}
	return time.Duration(user+system) * tick, nil
}

// memory is what proc(5) status says in kB, as MB by its own words.
func (g *guard) memory() (map[string]float64, error) {
	text, err := os.ReadFile(g.proc("status"))
	if err != nil {
		return nil, fmt.Errorf("%w: has the program ended? %s", err, g.said.String())
	}
	m := map[string]float64{}
	for line := range strings.Lines(string(text)) {
		if f := strings.Fields(line); len(f) == 3 && f[2] == "kB" {
			if m[f[0]], err = strconv.ParseFloat(f[1], 64); err != nil {
				return nil, err
			}
			m[f[0]] *= 1024 / 1e6
		}
	}
	if m["VmRSS:"] == 0 {
		return nil, fmt.Errorf("%s has no VmRSS", g.proc("status"))
	}
	return m, nil
}

func (a *account) print() {
	slope, noise := line(a.at, a.resident)
	fmt.Printf("resident at the end:      %.1f MB, %.1f MB of it the program's own file; highest %.1f MB\n", a.resident[len(a.resident)-1], a.file, a.peak)
	fmt.Printf("its slope:                %+.1f MB/h ± %.1f (95 %%, over %.0f s)\n", slope*3600, 1.96*noise*3600, a.wall.Seconds())
	fmt.Printf("processor:                %.1f %% of one core\n", 100*a.busy)
}

// line fits y = a + slope·x by least squares; noise is the slope's standard
// error, of independent residuals.
func line(x, y []float64) (slope, noise float64) {
	n := float64(len(x))
	var mx, my, sxx, sxy, rest float64
	for i := range x {
		mx, my = mx+x[i]/n, my+y[i]/n
	}
	for i := range x {
		sxx, sxy = sxx+(x[i]-mx)*(x[i]-mx), sxy+(x[i]-mx)*(y[i]-my)
	}
	slope = sxy / sxx
	for i := range x {
		r := y[i] - my - slope*(x[i]-mx)
		rest += r * r
	}
	return slope, math.Sqrt(rest / (n - 2) / sxx)
}

// settle is how much of a session's beginning is left out: a vehicle's poses wait
// there until every other's connection stands, and nothing is permitted.
const settle = 5 * time.Second

// stalls prints, from the session's own intake, how long poses waited between
// their arrival in the program and their judgement, and from the runtime's trace
// how long the garbage collector stopped everything.
func (g *guard) stalls() error {
	list, err := trail.List(filepath.Join(g.set.dir, "trail"))
	if err != nil || len(list) != 1 {
		return fmt.Errorf("%d sessions in the trail: %w", len(list), err)
	}
	r, err := trail.Open(list[0].Folder)
	if err != nil {
		return err
	}
	var waits []time.Duration
	if err := r.Items(func(it *trail.Item) error {
		if it.Kind == uint8(watchdog.EvPose) && it.At > settle {
			waits = append(waits, it.At-it.Arrived)
		}
		return nil
	}); err != nil {
		return err
	}
	slices.Sort(waits)
	if len(waits) == 0 {
		return fmt.Errorf("no pose in the intake")
	}
	at := func(q float64) float64 { return waits[int(q*float64(len(waits)-1))].Seconds() * 1000 }
	fmt.Printf("arrival to judgement:     median %.3f ms, 99.9 %% %.3f ms, worst %.3f ms of %d poses\n", at(0.5), at(0.999), at(1), len(waits))
	worst, n := pauses(g.said.String())
	fmt.Printf("garbage collector:        stops of at most %.3f ms in %d collections\n", worst, n)
	return nil
}

// pauses reads the two stop-the-world phases, in ms, off gctrace's lines (package
// runtime: "# ms clock").
func pauses(text string) (worst float64, n int) {
	clock := regexp.MustCompile(`(?m)^gc \d+ @.*: ([0-9.]+)\+[0-9.]+\+([0-9.]+) ms clock`)
	for _, m := range clock.FindAllStringSubmatch(text, -1) {
		for _, part := range m[1:] {
			if v, err := strconv.ParseFloat(part, 64); err == nil {
				worst = max(worst, v)
			}
		}
		n++
	}
	return worst, n
}
