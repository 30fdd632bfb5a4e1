package review

import (
	"cmp"
	"errors"
	"io"
	"slices"
	"time"

	"pinfold/watchdog"
	"pinfold/watchdog/pose"
)

// Result is what judging one vehicle's recording came to. Times are in seconds
// from the first sample, on the recording's own clock.
type Result struct {
	Vehicle  string    `json:"vehicle"`
	Samples  uint64    `json:"samples"`    // judged
	Dropped  uint64    `json:"dropped"`    // stamp or seq not after the last kept one
	Refused  uint64    `json:"refused"`    // could not be read
	Duration float64   `json:"duration_s"` // s, from the first to the last sample judged
	Episodes []Episode `json:"episodes"`   // by start
}

// Episode is one continuous stretch of one cause. It runs from the first
// violating sample to the first good one; where the recording ends before that,
// to the last sample.
type Episode struct {
	Cause string  `json:"cause"`
	Name  string  `json:"name"`
	From  float64 `json:"from"`  // s
	To    float64 `json:"to"`    // s
	Worst float64 `json:"worst"` // in Unit; for a zone the depth outside
	Limit float64 `json:"limit"`
	Unit  string  `json:"unit"`
	Open  bool    `json:"open,omitempty"` // still violating at the end
}

// Source gives samples in order, and io.EOF after the last.
type Source interface {
	Next() (pose.Sample, error)
}

// Recording judges a recording offline, as fast as it can: every sample arrives
// at the instant its stamp says, and between samples the core is stepped at
// each of its deadlines, as a live loop would.
func Recording(cfg watchdog.Config, src Source) (*Result, error) {
	r := &replayer{res: Result{Vehicle: cfg.Vehicle, Episodes: []Episode{}}}
	cfg.Session = "replay"
	var err error
	if r.guard, err = watchdog.New(cfg); err != nil {
		return nil, err
	}
	for {
		s, err := src.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err
		}
		r.held = s
		r.sample(&r.held)
	}
	r.step(&watchdog.Event{Kind: watchdog.EvClose, Text: "end of the recording"}, r.now)
	return r.finish(), nil
}

type replayer struct {
	guard  *watchdog.Guard
	res    Result
	held   pose.Sample // the one being judged
	now    time.Duration
	first  int64 // ns, stamp of the first sample
	begun  bool
	counts watchdog.Counts
	last   int64 // ns, stamp of the newest sample judged
}

func (r *replayer) sample(s *pose.Sample) {
	if !r.begun {
		r.begun, r.first, r.last = true, s.Stamp, s.Stamp
	}
	at := max(r.now, time.Duration(s.Stamp-r.first))
	for d := r.guard.Deadline(); d < at; d = r.guard.Deadline() {
		r.step(&watchdog.Event{Kind: watchdog.EvTick, Arrived: d}, max(d, r.now))
	}
	r.step(&watchdog.Event{Kind: watchdog.EvPose, Arrived: at, Sample: s}, at)
	r.last = max(r.last, s.Stamp)
}

func (r *replayer) step(ev *watchdog.Event, now time.Duration) {
	r.now = now
	for _, e := range r.guard.Step(ev, now) {
		if e.Kind != watchdog.DoRecord {
			continue
		}
		switch b := e.Record.Body.(type) {
		case watchdog.Episode:
			// What ended with the first sample was before the recording, and is none of it.
			if e.Record.Kind == watchdog.RecEpisode && (b.Open || b.ToStamp > r.first) {
				r.res.Episodes = append(r.res.Episodes, r.episode(&b))
			}
		case watchdog.Counts:
			r.counts = b
		}
	}
}

func (r *replayer) episode(e *watchdog.Episode) Episode {
	return Episode{Cause: e.Cause, Name: e.Name, From: r.seconds(e.FromStamp), To: r.seconds(e.ToStamp),
		Worst: e.Worst, Limit: e.Limit, Unit: e.Unit, Open: e.Open}
}

// seconds is a stamp in seconds from the first sample; what began before any had
// come, having no stamp, began there.
func (r *replayer) seconds(stamp int64) float64 { return float64(max(0, stamp-r.first)) / 1e9 }

func (r *replayer) finish() *Result {
	r.res.Samples, r.res.Dropped, r.res.Refused = r.counts.Samples, r.counts.Dropped, r.counts.Refused
	r.res.Duration = r.seconds(r.last)
	slices.SortStableFunc(r.res.Episodes, func(a, b Episode) int { return cmp.Compare(a.From, b.From) })
	return &r.res
}
