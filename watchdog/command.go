package watchdog

import (
	"fmt"
	"math"
	"time"

	"pinfold/zones"
)

// outCommand is the command in force: the newest one sent.
type outCommand struct {
	active bool
	acked  bool
	cmd    Command
	sent   time.Duration // first sending
	next   time.Duration // next repeat
}

// due is the next instant at which the command must be repeated.
func (o *outCommand) due(*Config) (time.Duration, bool) {
	return o.next, o.active && !o.acked
}

// sendCommand makes c's command the one in force and sends it.
func (g *Guard) sendCommand(c Cause, now time.Duration) {
	g.tokens++
	id := fmt.Sprintf("%s-%d", g.cfg.Session, g.tokens)
	g.cmd = outCommand{active: true, sent: now, next: now, cmd: Command{ID: id, Action: g.latch,
		Cause: c.Kind, Name: c.Name, Value: c.Value, Limit: c.Limit, Stamp: g.cur.Stamp, Valid: g.cfg.Timing.PermitValid}}
	if g.stop.active {
		g.stop.acked = -1
	}
	g.record(RecCommand, now, CommandSent{ID: id, Action: g.latch.String(), Cause: c})
}

// repeat emits the command where it is due.
func (g *Guard) repeat(now time.Duration) {
	if at, ok := g.cmd.due(&g.cfg); !ok || now < at {
		return
	}
	g.cmd.cmd.Seq++
	g.cmd.next = now + g.cfg.Timing.CommandEvery
	g.first = append(g.first, Effect{Kind: DoCommand, Command: g.cmd.cmd})
}

func (g *Guard) onAck(id string, now time.Duration) {
	if !g.cmd.active || g.cmd.acked || id != g.cmd.cmd.ID {
		return
	}
	g.cmd.acked = true
	after := (now - g.cmd.sent).Seconds()
	if g.stop.active {
		g.stop.acked = now - g.stop.at
	}
	g.observe(g.other(CauseNotAcknowledged), false, after, g.cfg.Timing.AckWithin.Seconds(), now)
	g.record(RecAck, now, Acked{ID: id, After: after})
}

// stopRun follows how the vehicle answers a stop.
type stopRun struct {
	active  bool
	cause   Cause
	at      time.Duration
	acked   time.Duration // since at; -1 not yet
	from    zones.XYZ
	known   bool    // the pose was judged when the stop was called
	speed   float64 // m/s
	allowed float64 // m
	braking float64 // m/s², declared, on the slope
	over    int     // samples in a row that are too fast
	s80     int64   // ns, sender's stamp at which the speed first was 80 % of the first
	s20     int64
	got80   bool
	got20   bool
}

func (g *Guard) beginStop(c Cause, _ Action, now time.Duration) {
	a, _ := OnSlope(g.cfg.Stopping.Deceleration, g.cfg.Stopping.Slope)
	g.stop = stopRun{active: true, cause: c, at: now, acked: -1, from: g.reach.Sweep.From,
		known: g.judged, speed: g.speed, allowed: g.reach.Along, braking: a}
}

// fastest is the highest speed, m/s, that still counts as obeying, since after
// the stop was called: the speed it was called at through the reaction, then
// falling at the tolerated share of the declared braking.
func (r *stopRun) fastest(c *Config, since time.Duration) float64 {
	t := math.Max(0, (since - c.Stopping.Reaction).Seconds())
	return math.Max(0, r.speed-float64(r.braking*c.Timing.ObeyTolerance*t)) + c.Timing.ObeySlack
}

// obey checks that the command in force is acknowledged and followed.
func (g *Guard) obey(now time.Duration) {
	t := &g.cfg.Timing
	if g.cmd.active && !g.cmd.acked {
		waited := now - g.cmd.sent
		g.observe(g.other(CauseNotAcknowledged), waited > t.AckWithin, waited.Seconds(), t.AckWithin.Seconds(), now)
	}
	if !g.stop.active || !g.poseNow || !g.cur.HasVelocity {
		return
	}
	limit := g.stop.fastest(&g.cfg, now-g.stop.at+t.AckWithin*0)
	if g.speed <= limit || !g.cfg.Stopping.Predict {
		g.stop.over = 0
	} else {
		g.stop.over++
	}
	g.observe(g.other(CauseNotObeyed), g.stop.over >= t.ObeyConfirm, g.speed, limit, now)
	if g.atRest(now) && g.trustedPose() {
		g.endStop(now)
	}
}

func (g *Guard) trustedPose() bool { return g.trust == 0 }

// measure notes when the speed passed 80 % and 20 % of the first.
func (r *stopRun) measure(g *Guard) {
	if !r.active || !g.cur.HasVelocity || r.speed < 0.4 {
		return
	}
	if !r.got80 && g.speed <= 0.8*r.speed {
		r.got80, r.s80 = true, g.cur.Stamp
	}
	if !r.got20 && g.speed <= 0.2*r.speed {
		r.got20, r.s20 = true, g.cur.Stamp
	}
}

// deceleration is the measured mean, m/s², or 0 where the vehicle was too slow
// to tell.
func (r *stopRun) deceleration() float64 {
	if !r.got80 || !r.got20 || r.s20 <= r.s80 {
		return 0
	}
	return 0.6 * r.speed / (time.Duration(r.s20 - r.s80).Seconds())
}

// endStop records how the vehicle came to rest.
func (g *Guard) endStop(now time.Duration) {
	r := &g.stop
	body := g.bodyNow()
	edge := g.cfg.Zones.Clearance(&body)
	d := Stopped{Action: g.latch.String(), Cause: r.cause, Speed: r.speed, Acked: -1, Allowed: r.allowed,
		Rest: max(0, g.slow-r.at).Seconds(), Deceleration: r.deceleration(), Edge: edge.Clearance}
	if r.acked >= 0 {
		d.Acked = r.acked.Seconds()
	}
	if r.known {
		d.Distance = math.Hypot(body.From.X-r.from.X, body.From.Y-r.from.Y)
	}
	if s := g.cfg.Zones.Shapes(); edge.Zone >= 0 && edge.Zone < len(s) {
		d.EdgeZone = s[edge.Zone].Name
	}
	r.active = false
	g.record(RecStopped, now, d)
}
