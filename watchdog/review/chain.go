package review

import (
	"math"

	"pinfold/watchdog"
	"pinfold/zones"
)

// begin follows a stop from the step that called it.
func (c *collector) begin(s *step, b *watchdog.CommandSent, t float64) {
	if len(c.v.Stops) >= maxChains {
		return
	}
	snap := s.guard.Figures()
	st := &c.cfg.Stopping
	slope, _ := watchdog.OnSlope(st.Deceleration, st.Slope)
	w := &snap.Reach.Sweep
	n := Chain{At: t, Action: b.Action, Cause: b.Cause, Speed: snap.Speed, Left: -1, Acked: -1, Falling: -1, Rest: -1,
		AckedAt: -1, FallingAt: -1, Distance: -1, Reaction: -1, Age: snap.PoseAge.Seconds(),
		Arrived: snap.Pose.Arrived.Seconds() - t, Allowed: finite(snap.Reach.Along), From: w.From, Predicted: w.To}
	if at, ok := c.onset[b.Cause.Word+"\x00"+b.Cause.Name]; ok && at <= t {
		n.Onset = at - t
	}
	if st.Predict && slope > 0 {
		n.Within = snap.Reach.Reaction + snap.Speed/slope
	}
	if !snap.Judged || !snap.Pose.HasVelocity {
		n.Speed = 0
	}
	c.v.Stops = append(c.v.Stops, n)
	c.stopping = len(c.v.Stops)
}

// leaves notes when the first of a stop's commands left: where the link is down, or
// a stop turns into a landing at once, that is a later one.
func (c *collector) leaves(id string) {
	n := &c.v.Stops[c.stopping-1]
	if at, ok := c.left[c.v.Name+"\x00"+id]; ok && n.Left < 0 {
		n.Left = at - n.At
	}
}

// finite is v, or -1 where there is no such number.
func finite(v float64) float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return -1
	}
	return v
}

func (n *Chain) gone(m *moment) float64 { return math.Hypot(m.x-n.From.X, m.y-n.From.Y) }

// measurable is the least speed, m/s, at which braking tells from noise: the
// core measures from the same on.
const measurable = 0.4

// follow takes one pose on the way to rest.
func (n *Chain) follow(m *moment) {
	if !m.moving || n.Speed < measurable || n.AtRest {
		return
	}
	if n.Falling < 0 && m.speed <= 0.9*n.Speed {
		n.Falling, n.FallingAt = m.t-n.At, n.gone(m)
	}
	if n.t80 == 0 && m.speed <= 0.8*n.Speed {
		n.t80 = m.t
	}
	if n.t20 == 0 && m.speed <= 0.2*n.Speed {
		n.t20 = m.t
	}
}

func (n *Chain) acked(t float64, m *moment) {
	if n.Acked < 0 {
		n.Acked, n.AckedAt = t-n.At, n.gone(m)
	}
}

// end takes the core's own record of how the stop went.
func (n *Chain) end(b *watchdog.Stopped, m *moment) {
	n.AtRest = true
	n.Action, n.Rest, n.Distance, n.Deceleration = b.Action, b.Rest, b.Distance, b.Deceleration
	n.Edge, n.EdgeZone = b.Edge, b.EdgeZone
	n.Actual = zones.XYZ{X: m.x, Y: m.y, Z: m.z}
	n.Miss = math.Hypot(n.Actual.X-n.Predicted.X, n.Actual.Y-n.Predicted.Y)
	n.measure()
}

// measure gives the reaction: the straight line through 80 % and 20 % of the
// speed, carried back to the whole of it, is when the braking began. It holds
// for a steady braking; the velocity's own lag is in it.
func (n *Chain) measure() {
	if n.Deceleration > 0 && n.t80 > 0 {
		n.Reaction = max(0, n.t80-0.2*n.Speed/n.Deceleration-n.At)
	}
}
