package watchdog

import (
	"strings"
	"testing"

	"pinfold/watchdog/pose"
)

// tiltedOnce is a started vehicle that was tilted into its caution band for one
// moment and stands level again.
func tiltedOnce(t *testing.T) *rig {
	r := newRig(t, testConfig(t)).started()
	r.tilt = 22
	r.move(10*ms, pose.Vec{})
	r.tilt = 0.87
	r.still(100 * ms)
	return r
}

// TestNearKeepsItsValue: while a caution is shown for its dwell, it tells of the
// value that was inside the band, not of what is far from it again.
func TestNearKeepsItsValue(t *testing.T) {
	r := tiltedOnce(t)
	r.wantLevel(Caution)
	s := r.g.Snapshot()
	if len(s.Near) != 1 || s.Near[0].Word != "tilt" {
		t.Fatalf("near: %v", words(s.Near))
	}
	near(t, "value shown", s.Near[0].Value, 22, 1e-6)
	if want := "tilt 22.00 deg is near the limit of 25.00 deg"; s.Near[0].Text != want {
		t.Errorf("says %q, want %q", s.Near[0].Text, want)
	}
	r.still(500 * ms)
	r.wantLevel(Clear)
}

// TestNearBeforeTheStart: what was near its limit before the start, and is not
// any more, is no reason to begin with a caution; what still is, is one.
func TestNearBeforeTheStart(t *testing.T) {
	for _, c := range []struct {
		tilt float64 // when the start takes effect
		want Level
	}{{0.5, Clear}, {22, Caution}} {
		r := newRig(t, testConfig(t))
		r.still(2400 * ms)
		r.tilt = 22
		r.still(50 * ms)
		r.tilt = c.tilt
		r.still(50 * ms)
		r.ask(AskStart)
		r.durable()
		r.wantLevel(c.want)
	}
}

// TestNearOfAZoneLeftBehind: the sentence for a zone tells how much was left.
func TestNearOfAZoneLeftBehind(t *testing.T) {
	r := newRig(t, testConfig(t))
	r.p.X = 6.5 // 0.28 m from the body to the wall, 0.12 m of it margin and error
	r.allowed()
	r.wantLevel(Caution)
	left := r.g.Snapshot().Near[0]
	r.v.X = -1.2
	r.move(450*ms, pose.Vec{})
	r.wantLevel(Caution)
	s := r.g.Snapshot().Near
	if len(s) == 0 || !strings.HasPrefix(s[0].Text, "0.") || !(s[0].Value < 0 && s[0].Value >= -0.30) {
		t.Errorf("near %+v after %+v", s, left)
	}
}

// allowed starts a vehicle that may begin with a caution.
func (r *rig) allowed() {
	r.t.Helper()
	r.still(2500 * ms)
	r.ask(AskStart)
	r.durable()
	if !r.granted() {
		r.t.Fatalf("not started: blocked by %q", r.g.Snapshot().Blocked)
	}
}
