package sim

import (
	"time"

	"pinfold/sim/judge"
	"pinfold/watchdog/link/receiver"
)

// rig is a vehicle with its tracker, its receiver and its judge, in virtual
// time: no goroutine, no clock. Node drives it in real time.
type rig struct {
	plant   Plant
	tracker *Tracker
	gate    *receiver.Receiver
	judge   *judge.Judge
	pilot   Pilot
	flies   bool
	hold    time.Duration
	silent  bool // tracker fault: nothing is published
	thin    int  // only every so manieth pose is; all where 0
	skipped int  // poses since the last that was

	now     time.Duration // simulation time, a multiple of Tick
	doing   Mode
	may     bool
	since   time.Duration // since when it may not move
	landing bool          // a landing once begun is finished
	room    float64
	log     haltLog
	poses   [][]byte
	acks    [][]byte
}

// heard is what a message is about.
type heard uint8

const (
	heardPermit heard = iota
	heardCommand
	heardAllCommand
)

func newRig(o NodeOptions) (*rig, error) {
	j, err := judge.New(o.Pen)
	if err != nil {
		return nil, err
	}
	gate, err := receiver.New(receiver.Options{})
	if err != nil {
		return nil, err
	}
	r := &rig{plant: o.Plant, tracker: NewTracker(o.Tracker, o.Seed), gate: gate, judge: j,
		pilot: Rest{}, flies: o.Flies, hold: o.Hold}
	if r.hold <= 0 {
		r.hold = DefaultHold
	}
	r.look()
	return r, nil
}

// advance steps the physics until less than a Tick is missing to at.
func (r *rig) advance(at time.Duration) {
	for r.now+Tick <= at {
		r.step()
	}
}

// step moves the vehicle by one Tick.
func (r *rig) step() {
	verdict := r.gate.MayMove(int64(r.clock()))
	if r.may && !verdict.Go {
		r.since = r.now
	}
	r.may = verdict.Go
	c := r.control(verdict)
	s := r.plant.Step(Tick, c)
	r.now += Tick
	r.doing = c.Mode
	r.look()
	action := receiver.Stop
	if c.Mode == Land {
		action = receiver.Land
	}
	r.log.step(r.clock(), s, r.may, r.room, action.String(), verdict.Why)
	for _, m := range r.tracker.Step(r.now, s) {
		if r.skipped++; !r.silent && r.skipped >= r.thin {
			r.skipped = 0
			r.poses = append(r.poses, m.Payload)
		}
	}
}

// look has the judge see the true position.
func (r *rig) look() {
	p := r.plant.State().Position
	r.room = r.judge.Look(r.now, p.X, p.Y, p.Z)
}

// clock is the vehicle's clock.
func (r *rig) clock() time.Duration { return r.tracker.Clock(r.now) }

// control is what the plant is told: the pilot's wish while the vehicle may
// move, else its safe state.
func (r *rig) control(v receiver.Verdict) Control {
	if v.Go {
		r.landing = false
		return r.pilot.Control(r.now, r.plant.State())
	}
	c := Control{Blind: !r.tracker.Good()}
	if !r.flies {
		return c
	}
	if c.Blind || v.Action == receiver.Land || r.now-r.since >= r.hold {
		r.landing = true
	}
	if r.landing {
		c.Mode = Land
	}
	return c
}

// hear hands a message over at the present instant.
func (r *rig) hear(k heard, payload []byte, retained bool) {
	clock := int64(r.clock())
	switch k {
	case heardPermit:
		r.gate.Permit(payload, retained, clock)
	case heardCommand:
		if ack := r.gate.Command(payload, retained, clock); ack != nil {
			r.acks = append(r.acks, ack)
		}
	case heardAllCommand:
		r.gate.AllCommand(payload, retained, clock)
	}
}

// collect takes the messages that are to go out.
func (r *rig) collect() (poses, acks [][]byte) {
	poses, acks = r.poses, r.acks
	r.poses, r.acks = nil, nil
	return poses, acks
}

func (r *rig) view() NodeView {
	return NodeView{State: r.plant.State(), Clock: r.clock(), MayMove: r.may, Doing: r.doing,
		Room: r.room, Halts: len(r.log.halts)}
}
