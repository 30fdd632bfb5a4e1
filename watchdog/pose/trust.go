package pose

import (
	"math/bits"
	"time"
)

// trust holds the reasons not to trust the newest pose.
type trust struct {
	flags     Distrust // of the newest sample alone
	restarted bool     // until the next alignment
	noticed   bool     // the restart was noticed between two samples, and not by the first
	fresh     int64    // ns, where noticed: first stamp known to be after the newest one
	until     [DistrustReasons]time.Duration
	heldSet   Distrust // reasons with an entry in until
	since     time.Duration

	stillStamp   int64
	placeStamp   int64 // ns, of the first sample with the position of the newest
	placeArrived time.Duration
	stillArrived time.Duration // first of the identical ones
	rate         rateMeter
}

// hold marks the newest sample, and keeps the reason for settle after now.
func (r *trust) hold(d Distrust, now, settle time.Duration) {
	r.flags |= d
	if settle <= 0 {
		return
	}
	r.heldSet |= d
	r.until[d.bit()] = now + settle
}

// bit is the number of the first reason's bit.
func (d Distrust) bit() int { return bits.TrailingZeros16(uint16(d)) }

// note takes what Distrust is at now: trust begins anew with every reason.
func (r *trust) note(d Distrust, now time.Duration) {
	if d != 0 {
		r.since = now
	}
}

// reasons is Distrust without a trace.
func (t *Track) reasons(now time.Duration) Distrust {
	switch {
	case !t.begun && t.void:
		return Restarted
	case !t.begun:
		return NoPose
	}
	r := &t.trust
	d := r.flags
	if now-t.arrived > t.cfg.MaxAge {
		d |= Stale
	}
	if at, ok := r.rate.slowFrom(); ok && now >= at {
		d |= Slow
	}
	if r.restarted {
		d |= Restarted
	}
	for left := r.heldSet; left != 0; left &= left - 1 {
		if i := left.bit(); now < r.until[i] {
			d |= 1 << i
		}
	}
	return d
}

// Distrust is every reason not to trust the newest pose at the instant now;
// none means that it may be judged. now must not run backwards: an earlier
// instant is taken for the newest one.
func (t *Track) Distrust(now time.Duration) Distrust {
	t.checked = max(t.checked, now)
	return t.reasons(t.checked)
}

// Deadline is the next instant, after the newest one asked about, at which
// Distrust may change by the mere passing of time; false where there is none.
func (t *Track) Deadline() (time.Duration, bool) {
	if !t.begun {
		return 0, false
	}
	var at time.Duration
	ok := false
	sooner := func(d time.Duration) {
		if d > t.checked && (!ok || d < at) {
			at, ok = d, true
		}
	}
	sooner(t.arrived + t.cfg.MaxAge + 1) // an age of exactly MaxAge is not stale yet
	if d, slow := t.trust.rate.slowFrom(); slow {
		sooner(d)
	}
	for left := t.trust.heldSet; left != 0; left &= left - 1 {
		sooner(t.trust.until[left.bit()])
	}
	return at, ok
}

// TrustedSince is the instant since which the pose has been trusted without a
// break; false where it is not trusted now.
func (t *Track) TrustedSince(now time.Duration) (time.Duration, bool) {
	now = max(now, t.checked)
	if t.reasons(now) != 0 {
		return 0, false
	}
	since := t.trust.since
	for left := t.trust.heldSet; left != 0; left &= left - 1 {
		since = max(since, t.trust.until[left.bit()])
	}
	return since, true
}
