package watchdog

import (
	"fmt"
	"time"
)

// outCommand is the command in force: the newest one sent.
type outCommand struct {
	active bool
	acked  bool
	cmd    Command
	sent   time.Duration // first sending
	waits  time.Duration // since when the vehicle owes an acknowledgement of any
	slow   time.Duration // what a slow link adds to AckWithin: see ackSlow
	next   time.Duration // next repeat
}

// due is the next instant at which the command must be repeated.
func (o *outCommand) due() (time.Duration, bool) {
	return o.next, o.active && !o.acked
}

// sendCommand makes c's command the one in force and sends it. One that it
// replaces is not repeated any more.
func (g *Guard) sendCommand(c Cause, now time.Duration) {
	g.tokens++
	id := fmt.Sprintf("%s-%d", g.cfg.Session, g.tokens)
	waits, slow := now, g.ackSlow()
	if _, owed := g.cmd.due(); owed {
		waits, slow = g.cmd.waits, g.cmd.slow
	}
	g.cmd = outCommand{active: true, sent: now, waits: waits, slow: slow, next: now, cmd: Command{ID: id, Action: g.latch,
		Cause: c.Kind, Name: c.Name, Value: c.Value, Limit: c.Limit, Stamp: g.cur.Stamp, Valid: g.cfg.Timing.PermitValid}}
	g.record(RecCommand, now, CommandSent{ID: id, Action: g.latch.String(), Cause: c})
	g.repeat(now)
}

// repeat emits the command where it is due.
func (g *Guard) repeat(now time.Duration) {
	if at, ok := g.cmd.due(); !ok || now < at {
		return
	}
	g.cmd.cmd.Seq++
	g.cmd.next = now + g.cfg.Timing.CommandEvery
	g.first = append(g.first, Effect{Kind: DoCommand, Command: g.cmd.cmd})
}

// onAck takes the vehicle's answer. One to another command than the one in
// force tells nothing: that one may have been the lesser.
func (g *Guard) onAck(id string, now time.Duration) {
	if _, owed := g.cmd.due(); !owed || id != g.cmd.cmd.ID {
		return
	}
	g.cmd.acked, g.stateDirty = true, true
	if g.stop.active && g.stop.acked < 0 {
		g.stop.acked = now - g.stop.at
	}
	g.observe(g.other(CauseNotAcknowledged), false, (now - g.cmd.waits).Seconds(), g.ackWithin().Seconds(), now)
	g.record(RecAck, now, Acked{ID: id, After: (now - g.cmd.sent).Seconds()})
}

// ackSlow is what a slow link adds, by now, to the time for an acknowledgement:
// what the way there and the way back take more than is declared. It stays as it
// was when the command was called, so that a link that dies after that puts
// nothing off. Neither the repeats nor whether the speed falls wait for it.
func (g *Guard) ackSlow() time.Duration { return 2 * g.cfg.slower(g.trip) }

// ackWithin is how long the vehicle may owe an acknowledgement.
func (g *Guard) ackWithin() time.Duration { return g.cfg.Timing.AckWithin + g.cmd.slow }

// judgeAck checks that the command in force is acknowledged.
func (g *Guard) judgeAck(now time.Duration) {
	if _, owed := g.cmd.due(); !owed || g.cfg.MotorsOff {
		return
	}
	g.observeTime(CauseNotAcknowledged, now-g.cmd.waits, g.ackWithin(), now)
}
