package trial

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"pinfold/watchdog/pose"
	"pinfold/watchdog/pose/recording"
)

// A draw is judged on this much of the recording before and after the fault.
const (
	lead  = 1500 * time.Millisecond
	trail = 4 * time.Second
)

// Row is what became of one fault.
type Row struct {
	Fault    Fault
	Draws    int
	Detected int
	Early    int           // draws distrusted before the fault came
	Median   time.Duration // from the first faulty message (Silent: the last good one) to its detection
	Worst    time.Duration
}

// Alarm is a reason for distrust on a recording with nothing put into it.
type Alarm struct {
	At    time.Duration // since the first sample
	Names string        // pose.Distrust's names
	Gap   bool          // a silence longer than MaxAge is really there
}

// Equip gives recorded samples what the faults need: the velocity between 25 ms
// before and after, a confidence of 0.9 and an id. Where the recording has a
// step longer than maxAge in reach of it, a sample keeps no velocity.
func Equip(samples []pose.Sample, maxAge time.Duration) []pose.Sample {
	const half = int64(25 * time.Millisecond)
	out := slices.Clone(samples)
	for i := range out {
		s := &out[i]
		s.Confidence, s.HasConfidence, s.Tracker = 0.9, true, "tracker"
		a, okA := between(samples, i, s.Stamp-half, maxAge)
		b, okB := between(samples, i, s.Stamp+half, maxAge)
		if s.HasVelocity = okA && okB; s.HasVelocity {
			s.Velocity = b.Sub(a).Scale(float64(time.Second) / float64(2*half))
		}
	}
	return out
}

// between is the position at the instant stamp, near index i.
func between(s []pose.Sample, i int, stamp int64, maxAge time.Duration) (pose.Vec, bool) {
	for i > 0 && s[i].Stamp > stamp {
		i--
	}
	for i+1 < len(s) && s[i+1].Stamp < stamp {
		i++
	}
	if i+1 >= len(s) || s[i].Stamp > stamp || time.Duration(s[i+1].Stamp-s[i].Stamp) > maxAge {
		return pose.Vec{}, false
	}
	a, b := &s[i], &s[i+1]
	k := float64(stamp-a.Stamp) / float64(b.Stamp-a.Stamp)
	return a.Position.Add(b.Position.Sub(a.Position).Scale(k)), true
}

// watcher feeds messages to a track as the wire would.
type watcher struct {
	dec   *pose.Decoder
	track *pose.Track
	text  []byte
}

func newWatcher(cfg *pose.Config) (*watcher, error) {
	dec, err := pose.NewDecoder(pose.DefaultFields())
	if err != nil {
		return nil, err
	}
	track, err := pose.NewTrack(*cfg)
	return &watcher{dec: dec, track: track}, err
}

// wait calls see at every instant up to now at which something may change.
func (w *watcher) wait(now time.Duration, see func(time.Duration, pose.Distrust, *pose.Fault)) {
	for {
		at, ok := w.track.Deadline()
		if !ok || at > now {
			return
		}
		see(at, w.track.Distrust(at), nil)
	}
}

// feed takes one message in and calls see.
func (w *watcher) feed(m *message, see func(time.Duration, pose.Distrust, *pose.Fault)) {
	w.wait(m.arrived-1, see)
	w.text = recording.Payload(w.text[:0], &m.sample)
	var s pose.Sample
	var p pose.Pose
	f := w.dec.Decode(w.text, &s)
	if f == nil {
		f = w.track.Accept(&s, m.arrived, m.arrived, &p)
	}
	see(m.arrived, w.track.Distrust(m.arrived), f)
}

// Clean feeds the samples as they are and lists every alarm. Samples whose
// stamp is not after the last are dropped.
func Clean(cfg pose.Config, samples []pose.Sample) ([]Alarm, error) {
	w, err := newWatcher(&cfg)
	if err != nil || len(samples) == 0 {
		return nil, err
	}
	var alarms []Alarm
	last, prev := time.Duration(0), pose.Distrust(0)
	see := func(at time.Duration, d pose.Distrust, _ *pose.Fault) {
		if d != prev && d != 0 {
			alarms = append(alarms, Alarm{At: at, Names: d.String(), Gap: at-last > cfg.MaxAge})
		}
		prev = d
	}
	for i := range samples {
		m := message{samples[i], time.Duration(samples[i].Stamp - samples[0].Stamp)}
		w.feed(&m, see)
		last = m.arrived
	}
	return alarms, nil
}

// Run draws every fault the given number of times into equipped samples, at
// random instants in whose surroundings the recording has no gap.
func Run(cfg pose.Config, samples []pose.Sample, draws int, seed uint64) ([]Row, error) {
	places := quiet(samples, cfg.MaxAge)
	if len(places) == 0 {
		return nil, fmt.Errorf("trial: the recording has nowhere %v without a gap longer than %v", lead+trail, cfg.MaxAge)
	}
	rows := make([]Row, 0, Faults)
	for f := range Faults {
		row := Row{Fault: f, Draws: draws}
		rng := rand.New(rand.NewPCG(seed, uint64(f)))
		took := make([]time.Duration, 0, draws)
		for range draws {
			d, early, ok, err := draw(cfg, samples, places, f, rng)
			if err != nil {
				return nil, err
			}
			if early {
				row.Early++
			}
			if ok {
				took = append(took, d)
			}
		}
		slices.Sort(took)
		if row.Detected = len(took); row.Detected > 0 {
			row.Median, row.Worst = took[len(took)/2], took[len(took)-1]
		}
		rows = append(rows, row)
	}
	return rows, nil
}

// quiet lists the indices around which the recording has no gap.
func quiet(s []pose.Sample, maxAge time.Duration) (out []int) {
	from, to, gap := 0, 0, 0 // window [from, to], newest index after a gap
	for i := range s {
		for ; time.Duration(s[i].Stamp-s[from].Stamp) > lead; from++ {
		}
		for ; to+1 < len(s) && time.Duration(s[to].Stamp-s[i].Stamp) < trail; to++ {
			if time.Duration(s[to+1].Stamp-s[to].Stamp) > maxAge {
				gap = to + 1
			}
		}
		whole := time.Duration(s[i].Stamp-s[0].Stamp) >= lead && time.Duration(s[to].Stamp-s[i].Stamp) >= trail
		if whole && gap <= from {
			out = append(out, i)
		}
	}
	return out
}

// draw puts the fault in once; took is from its first message to detection.
func draw(cfg pose.Config, s []pose.Sample, places []int, f Fault, rng *rand.Rand) (took time.Duration, early, ok bool, err error) {
	k := places[rng.IntN(len(places))]
	for tries := 0; f == AtOrigin && s[k].Position.Norm() < 4*cfg.RestartRadius && tries < 1000; tries++ {
		k = places[rng.IntN(len(places))] // a restart where the origin is looks like none, and is harmless
	}
	m, at := cut(s, k, f)
	came := m[at].arrived
	if f == Silent {
		came = m[at-1].arrived
	}
	m = f.spoil(m, at, &cfg, rng)
	w, err := newWatcher(&cfg)
	if err != nil {
		return 0, false, false, err
	}
	see := func(now time.Duration, d pose.Distrust, refused *pose.Fault) {
		switch {
		case ok:
		case now < came || f == Silent && now == came:
			early = early || d != 0 || refused != nil
		case f.noticed(d, refused):
			took, ok = now-came, true
		}
	}
	for i := range m {
		w.feed(&m[i], see)
		if ok {
			return took, early, ok, nil
		}
	}
	w.wait(came+trail, see)
	return took, early, ok, nil
}

// cut copies the surroundings of the sample k; at is where it is in them.
func cut(s []pose.Sample, k int, f Fault) (m []message, at int) {
	from := k
	for from > 0 && time.Duration(s[k].Stamp-s[from-1].Stamp) <= lead {
		from--
	}
	for i := from; i < len(s) && time.Duration(s[i].Stamp-s[k].Stamp) < trail; i++ {
		x := message{s[i], time.Duration(s[i].Stamp - s[from].Stamp)}
		if f == AtOrigin {
			x.sample.Tracker = ""
		}
		m = append(m, x)
	}
	return m, k - from
}
