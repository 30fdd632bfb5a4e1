package watchdog

import (
	"math"
	"testing"
	"time"

	"pinfold/watchdog/pose"
)

// TestPredictedLimitKept: a limit that is predicted is kept by a vehicle that
// goes on until the stop is called and then stops exactly as declared, however
// many judgements it takes to be confirmed, at whatever rate the tracker sends,
// and also where it falls silent after the first sample that violates.
func TestPredictedLimitKept(t *testing.T) {
	for _, confirm := range []int{0, 1, 2, 5} {
		for _, period := range []time.Duration{5 * ms, 20 * ms, 70 * ms} {
			for _, silent := range []bool{false, true} {
				for _, id := range []LimitID{LimitHeight, LimitDistance} {
					over := climbTo(t, id, confirm, period, silent)
					if !(over <= 0) {
						t.Errorf("%v confirmed %d times, a pose every %v, silent after the first %v: exceeded by %.4f m", limitName(id), confirm, period, silent, over)
					}
					// No more is given away than what the waiting costs at 1 m/s.
					if most := 0.05 + 0.02 + (period + JudgeEvery + time.Duration(confirm)*JudgeEvery).Seconds(); over < -most {
						t.Errorf("%v confirmed %d times, a pose every %v, silent %v: stopped %.4f m too early", limitName(id), confirm, period, silent, -over)
					}
				}
			}
		}
	}
}

func limitName(id LimitID) string { name, _ := id.Name(); return name }

// climbTo moves a vehicle at 1 m/s towards limit id until it is stopped, and
// gives by how much, m, the limit is exceeded when it comes to rest.
func climbTo(t *testing.T, id LimitID, confirm int, period time.Duration, silent bool) float64 {
	t.Helper()
	c := testConfig(t)
	c.Limits[LimitHeight].On = false
	c.Limits[id] = Limit{On: true, Max: 2.5, Caution: 2.5, Confirm: confirm, Answer: ActStop}
	c.Home.X, c.Home.Y = 1, 1
	c.Stopping.Margin, c.Stopping.PositionErr, c.Stopping.VelocityErr = 0, 0, 0
	r := newRig(t, c).started()
	axis, at := pose.Vec{Z: 1}, func() float64 { return r.p.Z }
	if id == LimitDistance {
		axis, at = pose.Vec{X: 1}, func() float64 { return r.p.X - 1 }
	}
	r.v = axis
	begin, from := r.now, r.p
	move := func(now time.Duration) { r.p = from.Add(axis.Scale((now - begin).Seconds())) }
	quiet := false
	for r.granted() {
		next := r.now + period
		for d := r.g.Deadline(); d < next && r.granted(); d = r.g.Deadline() {
			r.now = max(r.now, d)
			r.step(Event{Kind: EvTick})
		}
		if !r.granted() {
			break
		}
		r.now = next
		move(r.now)
		if !quiet {
			r.pose()
		}
		quiet = silent && r.g.subjects[r.g.limit0+int(id)].run > 0
		if r.now > begin+5*time.Second {
			t.Fatalf("%v: never stopped", limitName(id))
		}
	}
	move(r.now)
	return at() + StoppingDistance(1, c.Stopping.Reaction.Seconds(), math.Min(c.Stopping.Deceleration, c.Stopping.Vertical)) - 2.5
}
