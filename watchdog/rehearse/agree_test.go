package rehearse

import (
	"math"
	"testing"
	"time"

	"pinfold/sim"
	"pinfold/sim/judge"
	"pinfold/watchdog"
)

// agreeWithin is how far two depths may be apart, m: poses are rounded to
// micrometres and the tracker trembles by two.
const agreeWithin = 5e-6

// exactly makes a case's tracker tell the truth, but for a trembling that keeps
// it from looking frozen.
func exactly(c *Case) {
	e := &c.Truth.Eye
	e.Hide, e.HideV, e.Wobble, e.WobbleV = sim.Vec{}, sim.Vec{}, 2e-6, 0
	e.Lose, e.Jitter = 0, 0
	c.Truth.SilentAt = 0
}

// both makes a run, and says how deep the body was outside by the episodes of
// the core, and by the judge looking at the truth of the same instants.
func both(t *testing.T, c *Case) (core, judged judge.Breach) {
	t.Helper()
	r, err := newRig(c, Options{record: func(rec *watchdog.Record) {
		if ep, ok := rec.Body.(watchdog.Episode); ok && rec.Kind == watchdog.RecEpisode && ep.Cause == "zone" && ep.Breach > core.Depth {
			core.Depth, core.Where = ep.Breach, ep.Name
		}
	}})
	if err != nil {
		t.Fatal(err)
	}
	j, err := judge.New(c.Pen)
	if err != nil {
		t.Fatal(err)
	}
	type seen struct {
		stamp int64
		at    sim.Vec
	}
	var truth []seen
	r.step(&watchdog.Event{Kind: watchdog.EvTick}, 0)
	for !r.ended() {
		due, from, old := r.eye.Next(), r.now, r.plant.State().Position
		r.tick()
		if due <= r.now {
			share := float64(due-from) / float64(Tick)
			truth = append(truth, seen{int64(r.eye.ClockAt(due)), old.Add(r.plant.State().Position.Sub(old).Mul(share))})
		}
	}
	r.step(&watchdog.Event{Kind: watchdog.EvClose}, r.now) // open episodes end too
	newest := r.guard.Snapshot().Pose.Stamp
	for _, s := range truth {
		if s.stamp <= newest {
			j.Look(time.Duration(s.stamp), s.at.X, s.at.Y, s.at.Z)
		}
	}
	return core, j.Verdict(true).Deepest
}

// TestEpisodesAgreeWithTheJudge: with an exact tracker the core's episodes say
// of every run what the judge says, who shares no code with it and is shown the
// truth: whether the body was outside, in respect of which zone, and how deep.
// Brakes far weaker than declared make many leave.
func TestEpisodesAgreeWithTheJudge(t *testing.T) {
	for i, v := range demoSite(t).Vehicles {
		src := demoSource(t, i)
		src.Break = Break{Braking: 0.7}
		agree(t, v.Name, src, runs(t, 500)/2)
	}
}

func agree(t *testing.T, name string, src Source, n int) {
	t.Helper()
	outside, inside, worst := 0, 0, 0.0
	for seed := range uint64(n) {
		c, err := src.Case(seed, 0)
		if err != nil {
			t.Fatal(err)
		}
		if c == nil {
			continue
		}
		exactly(c)
		core, judged := both(t, c)
		worst = math.Max(worst, math.Abs(core.Depth-judged.Depth))
		if math.Abs(core.Depth-judged.Depth) > agreeWithin || judged.Depth > 0.01 && core.Where != judged.Where {
			t.Errorf("%s, seed %d: the core says %v m outside %q, the judge %v m outside %q", name, seed, core.Depth, core.Where, judged.Depth, judged.Where)
		}
		if judged.Depth > 0 {
			outside++
		} else {
			inside++
		}
	}
	t.Logf("%s: %d runs outside, %d inside, the core and the judge agree on each; their depths differ by at most %.1f µm", name, outside, inside, 1e6*worst)
	if outside < n/5 || inside < n/5 {
		t.Errorf("%s: %d runs outside, %d inside: no test of agreement", name, outside, inside)
	}
}
