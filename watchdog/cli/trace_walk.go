package cli

import (
	"context"
	"errors"
	"fmt"
	"time"

	"pinfold/watchdog/pose"
	"pinfold/watchdog/survey"
)

// recorded takes the walk from a recording.
func (t *tracer) recorded(ctx context.Context) error {
	first, seen := int64(0), 0
	for {
		s, err := t.src.next(ctx)
		if errors.Is(err, errRecordingEnds) {
			if seen == 0 {
				return fmt.Errorf("%s has no pose from %g s on; see --begin and --end", t.cmd.From, t.cmd.Begin)
			}
			return nil
		}
		if err != nil {
			return err
		}
		if first == 0 {
			first = s.Stamp
		}
		at := float64(s.Stamp-first) / 1e9
		if at < t.cmd.Begin || t.cmd.End > 0 && at > t.cmd.End {
			continue
		}
		if seen++; seen == 1 {
			t.unbind(&s)
		}
		if err := t.walk.Add(&s); err != nil {
			return err
		}
	}
}

// unbind lets a recording that tells no tracker's id pass for the session the
// alignment is of, and says so.
func (t *tracer) unbind(s *pose.Sample) {
	if a := &t.cfg.Align; a.Tracker != "" && s.Tracker == "" {
		t.say("note: the recording does not say of which session it is; it is taken for %q", a.Tracker)
		a.Tracker, a.Since = "", 0
		_ = t.begin() // the options were fine a moment ago
	}
}

// live takes the walk from the broker, by a person with one hand free at most.
func (t *tracer) live(ctx context.Context) error {
	c := t.cmd
	t.say("Go to the edge of %q with the tracker in hand, and hold\nit still for %v. The walk begins there by itself.", c.Name, c.Hold)
	if err := t.still(ctx, false, func() bool { return true }); err != nil {
		return err
	}
	if err := t.begin(); err != nil {
		return err
	}
	t.say("\a  begun. Walk along the edge, at a stroll, and rest\n  where you like. Back here, hold still for %v.", c.Hold)
	rested := time.Time{}
	err := t.still(ctx, true, func() bool {
		if t.walk.Length() < 2 {
			return false
		}
		if d := t.walk.FromStart(); d > c.Close {
			if time.Since(rested) > 3*time.Second {
				rested = time.Now()
				t.say("  resting %.2f m from where it began; walk on", d)
			}
			return false
		}
		return true
	})
	if ctx.Err() != nil && errors.As(err, new(*foundError)) {
		return found("given up after %.1f m of walk; nothing was written", t.walk.Length())
	}
	if err == nil {
		t.say("\a  closed.")
	}
	return err
}

// still walks on until the hand holds still where done agrees. Before the walk
// counts, a tracker that gets lost is no matter.
func (t *tracer) still(ctx context.Context, counts bool, done func() bool) error {
	d := survey.NewDwell(t.cfg, pose.StillOptions{Least: t.cmd.Hold, MaxMove: t.cmd.Jitter, MaxTurn: 0.35})
	var we *survey.WalkError
	for {
		s, err := nextPose(ctx, t.src, t.moan)
		if err != nil {
			return err
		}
		t.walk.Epoch(epochOf(t.src))
		if err := t.walk.Add(&s); err != nil {
			if counts || errors.As(err, &we) && we.Session {
				return err
			}
			if err := t.begin(); err != nil {
				return err
			}
		}
		if _, found, _ := d.Add(&s); found && done() {
			return nil
		}
		if n := t.walk.Length(); counts && n > 1 {
			t.moan("  %.1f m walked, %.2f m from where it began", n, t.walk.FromStart())
		}
	}
}

// moan says something once in three seconds at most.
func (t *tracer) moan(form string, x ...any) {
	if time.Since(t.spoke) >= 3*time.Second {
		t.spoke = time.Now()
		t.say(form, x...)
	}
}

// silence is after how long without a pose a person is told.
const silence = 2 * time.Second

// nextPose is the source's next, and tells meanwhile that nothing comes.
func nextPose(ctx context.Context, src source, moan func(string, ...any)) (pose.Sample, error) {
	for {
		soon, cancel := context.WithTimeout(ctx, silence)
		s, err := src.next(soon)
		waited := err != nil && soon.Err() != nil && ctx.Err() == nil
		cancel()
		if !waited {
			return s, err
		}
		moan("%s", fold(fmt.Sprintf("  no pose for %v: %v", silence, src.silent())))
	}
}

// refused draws what there is of a walk that makes no zone, and gives err the
// exit status of something found.
func (t *tracer) refused(err error) error {
	var we *survey.WalkError
	if !errors.As(err, &we) {
		return err
	}
	if path := t.walk.Path(); len(path) > 1 {
		p := picture{title: t.cmd.Name + ": refused", path: path, others: t.others, fault: we}
		if e := t.target.draw(p.svg()); e == nil {
			return found("%s\nNothing was written but a picture of the walk:\n%s", fold(err.Error()), t.target.svg)
		}
	}
	return found("%s\nNothing was written", fold(err.Error()))
}
