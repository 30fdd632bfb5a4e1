package app

import (
	"errors"
	"fmt"
	"math"
	"runtime"
	"time"

	"pinfold/watchdog"
	"pinfold/watchdog/link/wire"
)

// carryOut does what the core says, in its order.
func (k *keeper) carryOut(effects []watchdog.Effect, now time.Duration) {
	urgent := false
	for i := range effects {
		e := &effects[i]
		if urgent && e.Kind != watchdog.DoPermit && e.Kind != watchdog.DoCommand {
			runtime.Gosched() // what sends them goes first: records and log lines would else be written before they leave
			urgent = false
		}
		urgent = urgent || e.Kind == watchdog.DoPermit && !e.Permit.Go || e.Kind == watchdog.DoCommand
		switch e.Kind {
		case watchdog.DoPermit:
			k.sendPermit(&e.Permit, now)
		case watchdog.DoCommand:
			k.sendCommand(&e.Command, now)
		case watchdog.DoState:
			k.sendState(now)
		case watchdog.DoRecord:
			k.record(&e.Record)
		}
	}
}

func (k *keeper) sendPermit(p *watchdog.Permit, now time.Duration) {
	k.permitNo = p.Seq
	m := wire.Permit{Guard: k.cfg.Guard, Session: k.cfg.Session, Seq: p.Seq, Go: p.Go,
		Stamp: p.Stamp, Valid: p.Valid.Seconds()}
	k.buf = k.signing.permit.Sign(m.Append(k.buf[:0]))
	k.permit.Put(k.buf, now+k.cfg.Timing.PermitEvery)
}

func (k *keeper) sendCommand(c *watchdog.Command, now time.Duration) {
	m := wire.Command{ID: c.ID, Seq: c.Seq, Action: c.Action.String(), Cause: c.Cause.String(),
		Zone: c.Name, Value: c.Value, Limit: c.Limit, Stamp: c.Stamp, Valid: c.Valid.Seconds()}
	k.buf = k.signing.command.Sign(m.Append(k.buf[:0]))
	k.command.Put(k.buf, now+k.cfg.Timing.CommandEvery)
}

// sendState publishes what displays show, and shows it to whoever watches.
func (k *keeper) sendState(now time.Duration) {
	s := k.guard.Snapshot()
	k.stateNo++
	m := k.stateOf(&s)
	k.buf = m.Append(k.buf[:0])
	k.state.Put(k.buf, now+time.Second)
	k.screen.Show(&m, &s, now)
	if k.opt.Watch != nil {
		k.opt.Watch(k.index, &s)
	}
	if k.metrics != nil {
		k.metrics.Watch(k.index, &s)
	}
	k.countDropped(now)
	k.countUnsigned(now)
}

// Dropped is the body of the record of messages that came faster than they
// could be judged: the oldest that waited were given up for newer ones.
type Dropped struct {
	Poses    uint64        `json:"poses"`
	Acks     uint64        `json:"acks"`
	Requests uint64        `json:"requests"`
	Since    time.Duration `json:"since_ns"` // session instant of the look before: none of these were gone then
	Total    uint64        `json:"total"`    // of the session, these included
}

// countDropped looks whether messages were dropped since it last looked, and
// has it said and recorded.
func (k *keeper) countDropped(now time.Duration) {
	d := Dropped{Poses: k.inbox.DroppedFrom(subPose) - k.dropped[subPose],
		Acks:     k.inbox.DroppedFrom(subAck) - k.dropped[subAck],
		Requests: k.inbox.DroppedFrom(subRequest) - k.dropped[subRequest], Since: k.droppedAt}
	k.droppedAt = now
	n := d.Poses + d.Acks + d.Requests
	if n == 0 {
		return
	}
	k.dropped[subPose] += d.Poses
	k.dropped[subAck] += d.Acks
	k.dropped[subRequest] += d.Requests
	d.Total = k.dropped[subPose] + k.dropped[subAck] + k.dropped[subRequest]
	k.trail.Event(k.cfg.Vehicle, "dropped", now, d)
	k.say(now, Caution, fmt.Sprintf("%d messages were dropped since %.3f s: they came faster than they could be judged", n, d.Since.Seconds()))
}

func (k *keeper) stateOf(s *watchdog.Snapshot) wire.State {
	m := wire.State{Guard: k.cfg.Guard, Session: k.cfg.Session, Seq: k.stateNo, Vehicle: s.Vehicle,
		Level: s.Level.String(), Go: s.Go, Causes: causes(append(s.Causes, s.Near...)),
		Latched: causes(s.Latched), Nonce: s.Nonce, Blocked: s.Blocked, Trail: k.trail.Head(),
		Wall: k.opt.Wall().UTC().Format(time.RFC3339)}
	m.Aligned, m.AlignSent, m.AlignSaid = s.Tie.Hash, s.Aligned.Hash, alignSaid(&s.Aligned)
	if p50, p99, worst, ok := k.trips.figures(); ok {
		m.TripP50, m.TripP99, m.TripWorst = known(p50.Seconds()), known(p99.Seconds()), known(worst.Seconds())
	}
	if said := k.siteSaid.Load(); said != nil {
		m.SiteSaid = *said
	}
	if said := k.trailSaid.Load(); said != nil {
		m.TrailSaid = *said
	}
	if !s.Judged {
		return m
	}
	if !s.Void {
		m.Clearance, m.Height = known(s.Nearest.Clearance), known(s.Pose.Position.Z)
	}
	m.Tilt, m.PoseAge = known(s.Pose.Tilt*180/math.Pi), known(s.PoseAge.Seconds())
	if s.Pose.HasVelocity {
		m.Speed = known(s.Speed)
	}
	return m
}

func known(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}

func causes(in []watchdog.Cause) []wire.Cause {
	out := make([]wire.Cause, 0, len(in))
	for i := range in {
		c := &in[i]
		out = append(out, wire.Cause{Cause: c.Word, Name: c.Name, Value: c.Value, Limit: c.Limit,
			Unit: c.Unit, Text: c.Text})
	}
	return out
}

// record hands a record to the trail and says what a person should know of it.
func (k *keeper) record(r *watchdog.Record) {
	if r.Durable {
		token, answer := r.Token, k.answer
		k.trail.Durable(k.cfg.Vehicle, string(r.Kind), r.At, r.Body, func(failed bool) {
			k.mail.setDurable(token, failed)
			if answer != nil {
				answer <- notDurable(failed)
			}
		})
	} else {
		k.trail.Event(k.cfg.Vehicle, string(r.Kind), r.At, r.Body)
	}
	k.tied(r)
	if line, ok := lineOf(r, k.guard.Level()); ok {
		line.Vehicle = k.cfg.Vehicle
		k.opt.tell(line)
	}
}

// notDurable is the answer to an order whose record was to become durable.
func notDurable(failed bool) error {
	if failed {
		return errors.New("it is being judged by, but its record could not be made durable; see the trail's disk")
	}
	return nil
}

func (k *keeper) say(now time.Duration, w Weight, text string) {
	k.opt.tell(Line{At: now, Weight: w, Vehicle: k.cfg.Vehicle, Text: text})
}

// lastStop tells the vehicle to stop after the core panicked, without the core.
func (k *keeper) lastStop(p any) {
	now := k.now()
	for seq := range uint64(3) {
		_ = k.client.PublishNow(k.topics.Command, k.faultStop(seq+1), 0, false, lastWord) // the permit runs out by itself in any case
	}
	text := fmt.Sprintf("the judgement failed inside: %v", p)
	k.trail.Event(k.cfg.Vehicle, "panic", now, map[string]string{"text": text})
	k.opt.tell(Line{At: now, Weight: Failure, Vehicle: k.cfg.Vehicle, Level: "stop", Text: text})
}

// will is what the broker says for this guard when it is gone, to every vehicle:
// signed with the key of the one whose connection it is.
func (k *keeper) will() []byte {
	c := wire.Command{ID: k.cfg.Session + "-will", Seq: 1, Action: wire.Stop, Cause: "guard-lost",
		Valid: k.cfg.Timing.PermitValid.Seconds()}
	return k.signing.all.Sign(c.Append(nil))
}

// faultStop is the stop that is said without the core.
func (k *keeper) faultStop(seq uint64) []byte {
	c := wire.Command{ID: k.cfg.Session + "-fault", Seq: seq, Action: wire.Stop, Cause: "guard-fault",
		Value: math.NaN(), Limit: math.NaN(), Valid: k.cfg.Timing.PermitValid.Seconds()}
	return k.signing.command.Sign(c.Append(nil))
}

// lastPermit ends the session's permits.
func (k *keeper) lastPermit() []byte {
	m := wire.Permit{Guard: k.cfg.Guard, Session: k.cfg.Session, Seq: wire.MaxSeq, Stamp: 0}
	return k.signing.permit.Sign(m.Append(nil))
}

// withdraw is the last thing said on the permit topic: the session's permits
// are over. It waits for the network, so it is only called when the loop has
// ended.
func (k *keeper) withdraw() {
	_ = k.client.PublishNow(k.topics.Permit, k.lastPermit(), 0, false, lastWord) // it runs out by itself in any case
	if k.broken {
		return
	}
	s := k.guard.Snapshot()
	s.Go = false
	k.stateNo++
	st := k.stateOf(&s)
	_ = k.display.PublishNow(k.topics.State, st.Append(nil), 1, true, lastWord) // displays see the age of the last one
}
