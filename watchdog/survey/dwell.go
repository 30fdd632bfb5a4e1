package survey

import (
	"time"

	"pinfold/watchdog/pose"
)

const (
	// maxWindow bounds the samples of one dwell: 2 s at ten times the rate of
	// a fast tracker.
	maxWindow = 4096
	// tryEvery is how often, by stamps, a dwell is looked for.
	tryEvery = 50 * time.Millisecond
)

// Dwell finds where a body stands still. It is not for use by two goroutines
// at once.
type Dwell struct {
	cfg    pose.Config
	still  pose.StillOptions
	window []pose.Sample
	next   int64
}

// NewDwell looks for a body that stands still in the frame of c's alignment.
func NewDwell(c pose.Config, o pose.StillOptions) *Dwell {
	if o.Least == 0 {
		o.Least = 2 * time.Second
	}
	return &Dwell{cfg: c, still: o}
}

// Reset forgets what was seen.
func (d *Dwell) Reset() { d.window = d.window[:0] }

// Add takes one sample. Where found is true the body has stood still for as
// long as was asked, and st is its mean. Else why says what is in the way; nil
// means only that more samples are needed.
//
// A stamp that is not after the last, another session and a gap begin anew.
func (d *Dwell) Add(s *pose.Sample) (st pose.Still, found bool, why error) {
	if n := len(d.window); n > 0 {
		last := &d.window[n-1]
		step := time.Duration(s.Stamp - last.Stamp)
		switch {
		case s.Tracker != last.Tracker, step > d.cfg.MaxAge, step < -d.cfg.MaxAge, n == maxWindow:
			d.window = d.window[:0]
		case step <= 0:
			return st, false, nil
		}
	}
	d.window = append(d.window, *s)
	for len(d.window) > 1 && time.Duration(s.Stamp-d.window[1].Stamp) >= d.still.Least {
		d.window = d.window[1:]
	}
	if time.Duration(s.Stamp-d.window[0].Stamp) < d.still.Least {
		return st, false, nil
	}
	if dt := d.next - s.Stamp; dt > 0 && time.Duration(dt) <= tryEvery {
		return st, false, nil
	}
	d.next = s.Stamp + int64(tryEvery)
	st, why = pose.MeasureStill(d.window, d.cfg, d.still)
	return st, why == nil, why
}
