package receiver

import (
	"sync"
	"time"

	"pinfold/watchdog/link/sign"
	"pinfold/watchdog/link/wire"
)

// Receiver holds what one vehicle has been told. Make it with New; the zero
// Receiver never lets the vehicle move. It may be used by several goroutines:
// each call is short and waits for nothing but another call.
type Receiver struct {
	mu      sync.Mutex
	ready   bool
	anyName bool
	valid   int64 // ns, cap on every permit
	lost    Action
	guards  []guard
	latch   latch
	decoder wire.Decoder
	counts  Counts

	signed signatures
}

// signatures are those of the topics; nil without a key, and any message is then
// taken as signed.
type signatures struct{ permit, command, all, ack *sign.Signer }

// New makes a receiver that does not let the vehicle move yet.
func New(o Options) (*Receiver, error) {
	if err := o.check(); err != nil {
		return nil, err
	}
	r := &Receiver{ready: true, anyName: len(o.Guards) == 0, valid: int64(o.Valid), lost: max(o.Lost, Stop)}
	if r.valid == 0 {
		r.valid = int64(MaxValid)
	}
	r.signed = signatures{sign.New(o.Key, o.Topics.Permit), sign.New(o.Key, o.Topics.Command),
		sign.New(o.Key, o.Topics.AllCommand), sign.New(o.Key, o.Topics.Ack)}
	r.guards = make([]guard, max(len(o.Guards), 1))
	for i, name := range o.Guards {
		r.guards[i].name = name
	}
	return r, nil
}

// Permit takes a message of the permit topic. retained is MQTT's flag of that
// name, now the vehicle's own clock in ns.
func (r *Receiver) Permit(payload []byte, retained bool, now int64) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if retained {
		r.counts.Retained++
		return
	}
	if !r.signed.permit.Check(payload) {
		r.counts.Unsigned++
		return
	}
	p, err := r.decoder.Permit(payload)
	if err != nil {
		r.counts.Malformed++
		return
	}
	g := r.guard(p.Guard)
	if g == nil {
		r.counts.Foreign++
		return
	}
	g.take(&p, now, r)
}

// guard finds whose permit it is; nil means nobody's.
func (r *Receiver) guard(name string) *guard {
	if r.anyName && r.ready {
		return &r.guards[0]
	}
	for i := range r.guards {
		if r.guards[i].name == name {
			return &r.guards[i]
		}
	}
	return nil
}

// Command takes a message of the vehicle's command topic and returns what to
// publish on its ack topic; nil where there was no command to acknowledge. The
// bytes are the caller's. A retained command is obeyed like any other, since a
// halt is right at any age.
func (r *Receiver) Command(payload []byte, retained bool, now int64) (ack []byte) {
	r.mu.Lock()
	defer r.mu.Unlock()
	c, action, ok := r.command(payload, r.signed.command)
	if !ok {
		return nil
	}
	if r.latch.remember(c.ID) {
		r.close(action)
	} else if r.latch.action != None {
		r.latch.action = max(r.latch.action, action)
	}
	a := wire.Ack{ID: c.ID, Stamp: now, Action: max(r.latch.action, action).String()}
	return r.signed.ack.Sign(a.Append(nil))
}

// AllCommand takes a message of the command topic of all vehicles, where the
// broker speaks for a guard that is gone. It latches each time: the broker
// says the same words whenever that guard is lost. It is not acknowledged,
// there being nobody who repeats it.
func (r *Receiver) AllCommand(payload []byte, retained bool, now int64) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if _, action, ok := r.command(payload, r.signed.all); ok {
		r.close(action)
	}
}

// command reads a command and latches a stop where it cannot be read or is not
// signed as it has to be.
func (r *Receiver) command(payload []byte, by *sign.Signer) (wire.Command, Action, bool) {
	if !by.Check(payload) {
		r.counts.Unsigned++
		r.close(Stop)
		return wire.Command{}, None, false
	}
	c, err := r.decoder.Command(payload)
	if err != nil {
		r.counts.Malformed++
		r.close(Stop)
		return c, None, false
	}
	r.counts.Commands++
	return c, parseAction(c.Action), true
}

// close latches a, or what is latched already where that is stronger. Every
// guard then has to say no once more before its yes counts.
func (r *Receiver) close(a Action) {
	r.latch.action = max(r.latch.action, a)
	for i := range r.guards {
		r.guards[i].saidNo = false
	}
}

// open lets go of the latch once every guard has said no and then yes.
func (r *Receiver) open() {
	for i := range r.guards {
		if g := &r.guards[i]; !g.saidNo || !g.goes {
			return
		}
	}
	r.latch.action = None
}

// MayMove answers whether the vehicle may move at now, ns on its own clock. Ask
// it at every turn of the control loop: the answer is good for that instant.
func (r *Receiver) MayMove(now int64) Verdict {
	r.mu.Lock()
	defer r.mu.Unlock()
	v := Verdict{Action: r.lost}
	if !r.ready {
		v.Action, v.Why = Stop, "this receiver was not made by New"
		return v
	}
	for i := range r.guards {
		age, why := r.guards[i].permits(now)
		v.Age = max(v.Age, age)
		if v.Why == "" {
			v.Why = why
		}
	}
	if r.latch.action != None {
		v.Action, v.Why = r.latch.action, r.latch.why()
		return v
	}
	if v.Why == "" {
		v.Go, v.Action = true, None
	}
	return v
}

// Counts tells what has been heard since the start.
func (r *Receiver) Counts() Counts {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.counts
}

// Session names the session of the first guard, empty before one is taken up.
func (r *Receiver) Session() string {
	r.mu.Lock()
	defer r.mu.Unlock()
	if !r.ready {
		return ""
	}
	return r.guards[0].session
}

// validity is what a permit says, ns, capped.
func validity(p *wire.Permit, limit int64) int64 {
	ns := p.Valid * float64(time.Second)
	if !(ns > 0) {
		return 0
	}
	return int64(min(ns, float64(limit)))
}
