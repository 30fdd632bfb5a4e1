package cli

import (
	"context"
	"fmt"
	"time"

	"pinfold/config"
	"pinfold/watchdog"
	"pinfold/watchdog/link"
	"pinfold/watchdog/link/sign"
	"pinfold/watchdog/link/wire"
	"pinfold/watchdog/pose"
	"pinfold/watchdog/walk"
)

// Sub ids of a bystander.
const (
	byPose = iota
	byCommand
	byPermit
	byState
)

// bystander hears on the broker what a vehicle hears and says, as anybody could.
type bystander struct {
	client  *link.Client
	inbox   *link.Inbox
	topics  wire.TopicSet
	dec     *pose.Decoder
	session string // of the guard that is listened to; another one's is foreign
	foreign string // why nothing more is to be relied on; empty: nothing
	poses   [512]heardPose
	n       int
	command string // id of the newest
	by      string
	request *sign.Signer // nil: the site names no key
	signed  *sign.Signer // of commands
	msg     link.Message
	sample  pose.Sample
}

// heardPose is when a pose came by.
type heardPose struct {
	stamp int64
	at    time.Duration
}

func newBystander(ctx context.Context, site *config.Site, v *config.Vehicle) (b *bystander, err error) {
	b = &bystander{by: "walk"}
	if b.topics, err = wire.Topics(site.Broker.Prefix, v.Name); err != nil {
		return nil, err
	}
	if b.dec, err = pose.NewDecoder(v.Config.Fields); err != nil {
		return nil, err
	}
	request, err := sign.ReadKey(v.Signing.RequestFile)
	if err != nil {
		return nil, fmt.Errorf("%w; see [vehicle.signing]", err)
	}
	own, err := sign.ReadKey(v.Signing.KeyFile)
	if err != nil {
		return nil, fmt.Errorf("%w; see [vehicle.signing]", err)
	}
	b.request, b.signed = sign.New(request, b.topics.Request), sign.New(own, b.topics.Command)
	b.inbox, err = link.NewInbox(link.Queue{Depth: link.MaxDepth, Max: pose.MaxPayload}, link.Queue{Depth: link.MaxDepth, Max: wire.CommandMax},
		link.Queue{Depth: link.MaxDepth, Max: wire.PermitMax}, link.Queue{Max: wire.StateMax})
	if err != nil {
		return nil, err
	}
	b.client, err = connect(ctx, site, "pinfold-walk", []link.Sub{{Topic: b.topics.Pose, Inbox: b.inbox, ID: byPose},
		{Topic: b.topics.Command, Inbox: b.inbox, ID: byCommand}, {Topic: b.topics.Permit, Inbox: b.inbox, ID: byPermit},
		{Topic: b.topics.State, QoS: 1, Inbox: b.inbox, ID: byState}})
	return b, err
}

func (b *bystander) close() { _ = b.client.Close(time.Second) } // nothing is to be sent any more

// aloneFor is how long to listen for another guard: a running one shows a state
// five times a second, and a permit oftener.
const aloneFor = 1200 * time.Millisecond

// alone refuses where another guard is at work for the vehicle: that one might
// permit it to move in the person's hands.
func (b *bystander) alone(ctx context.Context) error {
	for until := time.Now().Add(aloneFor); time.Now().Before(until) && ctx.Err() == nil; time.Sleep(20 * time.Millisecond) {
		for b.inbox.Take(&b.msg) {
			if !b.msg.Retained && (b.msg.Sub == byPermit || b.msg.Sub == byState) {
				return fmt.Errorf("a guard is at work for this vehicle: end it first. A walk has a guard of its own, which permits nothing; beside another one the motors might start in your hands")
			}
		}
	}
	return ctx.Err()
}

// commands are the commands that were heard since the last call, each once.
func (b *bystander) commands() (out []walk.Command) {
	for b.inbox.Take(&b.msg) {
		m := &b.msg
		if m.Retained || m.TooLarge {
			continue
		}
		switch m.Sub {
		case byPose:
			if b.dec.Decode(m.Payload, &b.sample) == nil {
				b.poses[b.n%len(b.poses)] = heardPose{b.sample.Stamp, m.Arrived}
				b.n++
			}
		case byCommand:
			if c, err := wire.DecodeCommand(m.Payload); err == nil && c.ID != b.command && b.signed.Check(m.Payload) {
				b.command = c.ID
				out = append(out, walk.Command{Cause: c.Cause, Name: c.Zone, After: b.after(c.Stamp, m.Arrived)})
			}
		case byPermit:
			b.permit(m.Payload)
		}
	}
	return out
}

// permit looks for one that another guard gives, or that lets the vehicle go.
func (b *bystander) permit(payload []byte) {
	p, err := wire.DecodePermit(payload)
	switch {
	case err != nil || p.Seq == wire.MaxSeq:
	case p.Go:
		b.foreign = fmt.Sprintf("broken off: a permit to move was given by session %.16s. Put the vehicle down and keep clear of it", wire.Printable(p.Session))
	case p.Session != b.session && b.session != "":
		b.foreign = fmt.Sprintf("broken off: another guard, session %.16s, came to work for this vehicle", wire.Printable(p.Session))
	}
}

// after is how many ms after the pose with that stamp something came; -1 where
// the pose was not heard.
func (b *bystander) after(stamp int64, at time.Duration) float64 {
	for i := range b.poses {
		if p := &b.poses[i]; p.stamp == stamp && stamp != 0 {
			return float64((at - p.at).Microseconds()) / 1000
		}
	}
	return -1
}

// reset asks the guard for one, as an operator would. One that does not arrive
// is asked for again with the guard's next nonce.
func (b *bystander) reset(nonce string) {
	r := wire.Request{Ask: watchdog.AskReset.String(), By: b.by, Nonce: nonce}
	_ = b.client.PublishNow(b.topics.Request, b.request.Sign(r.Append(nil)), 1, false, publishWait)
}
