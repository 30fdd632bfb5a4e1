package relay

import (
	"context"
	"fmt"
	"time"

	"pinfold/watchdog/link"
	"pinfold/watchdog/link/receiver"
	"pinfold/watchdog/link/sign"
	"pinfold/watchdog/link/wire"
)

// Turn is how often the receiver is asked and the output set, beside every
// message.
const Turn = 5 * time.Millisecond

// burst is how many messages are heard before the output is set again, so that a
// flood of them cannot hold it as it was.
const burst = 16

// Options of a relay.
type Options struct {
	Prefix  string       // of the topics
	Vehicle string       // whose permit it holds
	Guards  []string     // names of the guards that all have to permit; none: any one
	Key     *sign.Key    // what permits and commands have to be signed with; nil: they are not
	Link    link.Options // URL, user, password, TLS; the rest is filled in here
	Lost    receiver.Action
	Output  Output
	// Clock is the clock that stamps the vehicle's poses, ns. Permits are as old as
	// it says.
	Clock func() int64
	// Say is told what a person should read; Beat is called after every turn. Both
	// must return at once; both may be nil.
	Say  func(text string)
	Beat func()
}

// Queues of the inbox.
const (
	hearPermit = iota
	hearCommand
	hearAll
)

// Run holds the permit and sets the output until ctx is done, or until the
// output fails for good. It halts before it returns.
func Run(ctx context.Context, o Options) (err error) {
	r := &relay{opt: o}
	defer func() {
		if closed := o.Output.Close(); err == nil {
			err = closed
		}
	}()
	if err := r.open(); err != nil {
		return err
	}
	defer r.client.Close(goodbye) //nolint:errcheck // nothing of it is to arrive any more
	return r.loop(ctx)
}

// goodbye is how long the relay waits for its connection to close.
const goodbye = 300 * time.Millisecond

type relay struct {
	opt    Options
	rec    *receiver.Receiver
	inbox  *link.Inbox
	client *link.Client
	ack    *link.Slot
	begun  time.Time
	msg    link.Message
	said   string
}

func (r *relay) now() time.Duration { return time.Since(r.begun) }

func (r *relay) open() (err error) {
	r.begun = time.Now()
	o := &r.opt
	topics, err := wire.Topics(o.Prefix, o.Vehicle)
	if err != nil {
		return fmt.Errorf("relay: %w", err)
	}
	if r.rec, err = receiver.New(receiver.Options{Lost: o.Lost, Guards: o.Guards, Key: o.Key, Topics: topics}); err != nil {
		return err
	}
	if r.inbox, err = link.NewInbox(link.Queue{Max: wire.PermitMax}, link.Queue{Max: wire.CommandMax}, link.Queue{Max: wire.CommandMax}); err != nil {
		return err
	}
	l := o.Link
	l.ClientID, l.Now = "pinfold-relay-"+o.Vehicle, r.now
	l.ClientID = l.ClientID[:min(len(l.ClientID), link.MaxClientID)]
	l.Subs = []link.Sub{
		{Topic: topics.Permit, Inbox: r.inbox, ID: hearPermit},
		{Topic: topics.Command, Inbox: r.inbox, ID: hearCommand},
		{Topic: topics.AllCommand, QoS: 1, Inbox: r.inbox, ID: hearAll},
	}
	l.OnLink = func(up bool, why string) {
		if !up {
			r.say("no link to the broker (" + why + "); trying on")
		}
	}
	if r.client, err = link.Dial(l); err != nil {
		return err
	}
	r.ack, err = r.client.Slot(topics.Ack, 0, false)
	return err
}

// loop hears, asks and sets, until the end.
func (r *relay) loop(ctx context.Context) error {
	tick := time.NewTicker(Turn)
	defer tick.Stop()
	for {
		more := true
		for i := 0; more && i < burst; i++ {
			if more = r.inbox.Take(&r.msg); more {
				r.hear(&r.msg)
			}
		}
		v := r.rec.MayMove(r.opt.Clock())
		if err := r.opt.Output.Set(v); err != nil {
			return fmt.Errorf("relay: the output: %w", err)
		}
		r.tell(v)
		if r.opt.Beat != nil {
			r.opt.Beat()
		}
		if more && ctx.Err() == nil {
			continue
		}
		select {
		case <-ctx.Done():
			return nil
		case <-r.inbox.Ready():
		case <-tick.C:
		}
	}
}

// hear takes one message; its age is that of now, when it is looked at.
func (r *relay) hear(m *link.Message) {
	now, payload := r.opt.Clock(), m.Payload
	if m.TooLarge {
		payload = nil // cut, and no message of the contract
	}
	switch m.Sub {
	case hearPermit:
		r.rec.Permit(payload, m.Retained, now)
	case hearCommand:
		if ack := r.rec.Command(payload, m.Retained, now); ack != nil {
			r.ack.Put(ack, r.now()+ackWithin)
		}
	case hearAll:
		r.rec.AllCommand(payload, m.Retained, now)
	}
}

// ackWithin is how long an acknowledgement is worth sending: the command comes
// again before that.
const ackWithin = 200 * time.Millisecond

// tell says what changed.
func (r *relay) tell(v receiver.Verdict) {
	text := word(v)
	if !v.Go {
		text += " (" + v.Action.String() + "): " + v.Why
	}
	if text != r.said {
		r.said = text
		r.say(text)
	}
}

func (r *relay) say(text string) {
	if r.opt.Say != nil {
		r.opt.Say(text)
	}
}
