package app

import (
	"errors"
	"sync/atomic"
	"time"

	"pinfold/config"
	"pinfold/watchdog"
	"pinfold/watchdog/console"
	"pinfold/watchdog/console/metrics"
	"pinfold/watchdog/intake"
	"pinfold/watchdog/link"
	"pinfold/watchdog/link/wire"
	"pinfold/watchdog/pose"
	"pinfold/watchdog/trail"
)

// Sub ids of a vehicle's inbox.
const (
	subPose = iota
	subAck
	subRequest
	subPermit // the guard's own come back by it; it listens for others
	subAlign
	subTrip // the guard's own probes, on their way back
)

// newInbox keeps poses from pushing out acknowledgements and requests.
func newInbox() (*link.Inbox, error) {
	return link.NewInbox(
		link.Queue{Depth: poseDepth, Max: pose.MaxPayload},
		link.Queue{Max: wire.AckMax},
		link.Queue{Max: wire.RequestMax},
		link.Queue{Max: wire.PermitMax},
		link.Queue{Depth: alignDepth, Max: wire.AlignMax},
		link.Queue{Depth: tripDepth, Max: wire.ProbeMax})
}

// alignDepth is how many alignments may wait; only the newest nonce is good.
const alignDepth = 4

// tripDepth is how many probes may wait: one is out at a time, and strangers may
// send more.
const tripDepth = 16

// poseDepth is how many poses may wait: a second at 240 Hz. More are old.
const poseDepth = 240

// burst is how many messages are judged before orders and mail are looked at
// again, so that a flood of messages cannot hold off a shutdown.
const burst = 64

// keeper runs the guard of one vehicle. Everything in it belongs to its loop,
// but for mail, inbox and orders.
type keeper struct {
	index   int
	cfg     watchdog.Config
	topics  wire.TopicSet
	guard   *watchdog.Guard
	client  *link.Client
	display *link.Client // carries the state; see connectDisplay
	inbox   *link.Inbox
	permit  *link.Slot
	command *link.Slot
	state   *link.Slot
	probes  *link.Slot
	trail   *trail.Writer
	mail    *mail
	tell    []*mail // of all other vehicles
	orders  chan order
	now     func() time.Duration
	beat    func(now time.Duration)
	opt     *Options
	metrics *metrics.Set    // nil: nobody reads
	screen  *console.Screen // nil: there is no console

	left leftID // of commands

	msg       link.Message
	waiting   []intake.Entry
	buf       []byte
	stateNo   uint64
	permits   wire.Decoder // of the permits of others
	permitNo  uint64       // number of this guard's own newest permit
	rival     secondGuard
	fellows   fellows
	signing   signing
	dropped   [3]uint64 // by queue of the inbox, as they were counted at
	droppedAt time.Duration
	flow      flowWatch
	trips     tripWatch
	answer    chan<- error            // while a tighter site is being taken
	tying     tying                   // the site's own alignment file
	siteSaid  *atomic.Pointer[string] // of the session: what became of the last reload
	trailSaid *atomic.Pointer[string] // of the session: what its trail lacks
	broken    bool                    // the core panicked: it is not to be touched again
}

// order is something a loop is told to do by the one who runs it.
type order struct {
	close   string       // why the session ends; empty: not
	tighten *config.Site // a tighter site to take
	payload []byte       // the entry of it in the intake
	align   []byte       // an alignment file to take
	answer  chan<- error // what became of it
}

// errClosed ends a loop in good order.
var errClosed = errors.New("closed")

// run is the loop. It returns nil after an order to close, and ErrPanic after
// the core panicked.
func (k *keeper) run() (err error) {
	defer func() {
		if p := recover(); p != nil {
			k.broken = true
			k.lastStop(p)
			err = ErrPanic
		}
	}()
	timer := time.NewTimer(0)
	defer timer.Stop()
	k.post() // a link that was not there at the start, before anything is judged
	for {
		more := k.drain()
		if err := k.inner(timer, more); err != nil {
			if errors.Is(err, errClosed) {
				return nil
			}
			return err
		}
		k.trip()
		k.fellowship()
	}
}

// inner looks at everything that is not a message, waiting for something to
// happen unless more messages are there already.
func (k *keeper) inner(timer *time.Timer, more bool) error {
	if more {
		select {
		case o := <-k.orders:
			return k.obey(o)
		case <-k.mail.ready:
			k.post()
		default:
		}
		return nil
	}
	due := k.guard.Deadline()
	timer.Reset(due - k.now())
	select {
	case <-k.inbox.Ready():
		k.woke(due)
	case <-k.mail.ready:
		k.woke(due)
		k.post()
	case o := <-k.orders:
		return k.obey(o)
	case <-timer.C:
		k.woke(due)
		k.step(&intake.Entry{Kind: uint8(watchdog.EvTick), Arrived: k.now()})
	}
	return nil
}

// woke notes how much later the loop goes on than it had to at the latest.
func (k *keeper) woke(due time.Duration) {
	k.trips.late(k.now() - due)
}

// drain judges what is in the inbox, and says whether more may be there.
func (k *keeper) drain() (more bool) {
	for range burst {
		if !k.inbox.Take(&k.msg) {
			return false
		}
		k.message(&k.msg)
	}
	return true
}

// message judges one message.
func (k *keeper) message(m *link.Message) {
	e := intake.Entry{Arrived: m.Arrived, Payload: m.Payload}
	switch m.Sub {
	case subPose:
		e.Kind = uint8(watchdog.EvPose)
		k.flow.pose(m.Arrived) // signed or not, it came
	case subAck:
		e.Kind = uint8(watchdog.EvAck)
	case subRequest:
		if k.forAnother(m) {
			return
		}
		e.Kind = uint8(watchdog.EvRequest)
	case subPermit:
		k.heardPermit(m)
		return
	case subTrip:
		k.tripped(m)
		return
	case subAlign:
		e.Kind = uint8(watchdog.EvAlign)
	}
	if !k.accepts(m) {
		return
	}
	e.Payload = m.Payload
	if m.Retained {
		e.Flags |= intake.Retained
	}
	if m.TooLarge {
		e.Flags |= intake.TooLarge
	}
	k.step(&e)
}

// post judges what other goroutines noticed.
func (k *keeper) post() {
	k.waiting = k.mail.take(k.waiting[:0])
	for i := range k.waiting {
		k.waiting[i].Arrived = k.now()
		if k.waiting[i].Kind == uint8(watchdog.EvLink) {
			k.flow.link(k.waiting[i].Flags&intake.Up != 0, k.now())
			k.trips.link(k.waiting[i].Flags&intake.Up != 0, k.now())
		}
		k.step(&k.waiting[i])
	}
}

// step judges one entry and carries out what the core says.
func (k *keeper) step(e *intake.Entry) {
	now := k.now()
	ev, err := e.Event()
	if err != nil {
		ev = watchdog.Event{Kind: watchdog.EvBad, Arrived: e.Arrived, Text: err.Error()}
	}
	k.carryOut(k.guard.Step(&ev, now), now)
	k.keep(e, now)
	if k.screen.Due(now) {
		s := k.guard.Snapshot()
		m := k.stateOf(&s)
		k.screen.Show(&m, &s, now)
	}
	if e.Kind == uint8(watchdog.EvPose) {
		k.tellOthers(now)
		if k.metrics != nil {
			k.metrics.Judged(k.index, k.now()-e.Arrived)
		}
	}
	k.beat(now)
	if k.flow.due(now) {
		k.say(now, Caution, "no pose although connected: is the tracker on? Making a new connection in case it was forgotten")
		k.client.Renew(renewal)
	}
}

// tellOthers says where the vehicle can come to, to those that keep apart from
// it. Without a pose nothing is said, and what was said soon counts for nothing.
func (k *keeper) tellOthers(now time.Duration) {
	var where watchdog.OtherReach
	for _, m := range k.tell {
		if !m.wants(k.cfg.Vehicle) {
			continue
		}
		if where.Name == "" {
			where = k.guard.ForOthers(now)
		}
		m.setOther(where)
	}
}

// keep hands the entry to the trail, after everything else.
func (k *keeper) keep(e *intake.Entry, now time.Duration) {
	k.trail.Intake(&trail.Item{Vehicle: uint16(k.index), Kind: e.Kind, Flags: e.Flags,
		At: now, Arrived: e.Arrived, Payload: e.Payload})
}

func (k *keeper) obey(o order) error {
	if o.align != nil {
		k.realign(o)
		return nil
	}
	if o.tighten != nil {
		if err := k.tighten(o); err != nil {
			o.answer <- err
		}
		return nil
	}
	k.closing(o.close)
	k.countDropped(k.now())
	o.answer <- nil
	return errClosed
}

// tighten takes a tighter site while running. Where it does, the answer is given
// when the record of it is durable (see record), never before.
func (k *keeper) tighten(o order) error {
	v, ok := o.tighten.Vehicle(k.cfg.Vehicle)
	if !ok {
		return errors.New("vehicle " + k.cfg.Vehicle + " is missing from the new site file")
	}
	next := v.Config
	next.Session, next.NonceSeed, next.Hash = k.cfg.Session, k.cfg.NonceSeed, o.tighten.Hash
	next.MotorsOff = k.cfg.MotorsOff
	now := k.now()
	effects, err := k.guard.Tighten(next, now)
	if err != nil {
		return err
	}
	k.cfg, k.answer = next, o.answer
	k.mail.want(next.Others)
	k.carryOut(effects, now)
	k.answer = nil
	k.keep(&intake.Entry{Kind: intake.KindConfig, Arrived: now, Payload: o.payload}, now)
	return nil
}

// closing ends the session: the stop goes out first, and is repeated until the
// vehicle acknowledged it or closeWait is over.
func (k *keeper) closing(why string) {
	k.step(&intake.Entry{Kind: uint8(watchdog.EvClose), Arrived: k.now(), Payload: []byte(why)})
	until := k.now() + closeWait
	for k.now() < until {
		if k.guard.Snapshot().Acked || k.guard.Level() < watchdog.Stop {
			break
		}
		wait := time.NewTimer(min(k.guard.Deadline(), until) - k.now())
		select {
		case <-k.inbox.Ready():
			k.drain()
		case <-wait.C:
			k.step(&intake.Entry{Kind: uint8(watchdog.EvTick), Arrived: k.now()})
		}
		wait.Stop()
	}
}

// renewal is the reason given for a connection made anew.
const renewal = "connected, but no pose comes"

// flowWatch notices a connection that is up and yet carries no pose: a broker
// that lost the subscription. Each new try waits twice as long, until a pose
// comes.
type flowWatch struct {
	up       bool
	since    time.Duration // of the newest pose, connection or try
	patience time.Duration
}

func (f *flowWatch) pose(at time.Duration) { f.since, f.patience = at, flowAfter }

func (f *flowWatch) link(up bool, now time.Duration) { f.up, f.since = up, now }

func (f *flowWatch) due(now time.Duration) bool {
	if f.patience == 0 {
		f.patience = flowAfter
	}
	if !f.up || now-f.since < f.patience {
		return false
	}
	f.since, f.patience = now, min(2*f.patience, flowMost)
	return true
}
