package intake

import (
	"encoding/binary"
	"errors"
	"fmt"
	"time"

	"pinfold/watchdog"
	"pinfold/watchdog/link/wire"
)

// Flags of an entry. Frozen: they stand in trails.
const (
	Retained uint8 = 1 << iota // the message was delivered as retained
	TooLarge                   // the message was longer than the link carries; Payload is cut
	Up                         // link and trail: it works again
	Failed                     // durable: the record will never be on disk
)

// Kinds of entry that are no watchdog.EventKind.
const (
	// KindConfig: a new site file was taken while running. Its payload is the
	// session's file name of it.
	KindConfig uint8 = 100
	// KindAlign: the site's own alignment file was read again. Its payload is
	// the file; its event is a local watchdog.EvAlign.
	KindAlign uint8 = 101
)

// Entry is one thing the guard was given. Kind is a watchdog.EventKind, or one
// of the kinds above.
type Entry struct {
	Kind    uint8
	Flags   uint8
	Arrived time.Duration // session instant of arrival; for what is no message, of noticing
	Payload []byte        // the message as it arrived, or see Durable and Text
}

// ErrNoEvent is the answer to an entry that the core is not stepped with.
var ErrNoEvent = errors.New("intake: the entry is no event of the core")

// Durable is the payload of an EvDurable entry: the record's token.
func Durable(token uint64) []byte { return binary.BigEndian.AppendUint64(nil, token) }

// Trip is the payload of an EvTrip entry: the longest round trip of the last
// minute, ns.
func Trip(d time.Duration) []byte { return binary.BigEndian.AppendUint64(nil, uint64(d)) }

// Event is the event the core is stepped with for e. A message that cannot be
// read becomes watchdog.EvBad, which names what was wrong. The event shares e's
// payload.
func (e *Entry) Event() (watchdog.Event, error) {
	ev := watchdog.Event{Kind: watchdog.EventKind(e.Kind), Arrived: e.Arrived}
	if e.Kind == KindAlign {
		ev.Kind, ev.Local, ev.Payload = watchdog.EvAlign, true, e.Payload
		return ev, nil
	}
	switch ev.Kind {
	case watchdog.EvTick:
	case watchdog.EvPose:
		ev.Payload, ev.Retained, ev.TooLarge = e.Payload, e.Flags&Retained != 0, e.Flags&TooLarge != 0
	case watchdog.EvAck:
		e.ack(&ev)
	case watchdog.EvRequest:
		e.request(&ev)
	case watchdog.EvLink, watchdog.EvTrail:
		ev.Up = e.Flags&Up != 0
	case watchdog.EvDurable:
		if len(e.Payload) != 8 {
			return ev, fmt.Errorf("intake: a durable entry holds %d bytes, want 8", len(e.Payload))
		}
		ev.Token, ev.Failed = binary.BigEndian.Uint64(e.Payload), e.Flags&Failed != 0
	case watchdog.EvOther:
		var err error
		if ev.Other, err = readOther(e.Payload); err != nil {
			return ev, err
		}
	case watchdog.EvTrip:
		if len(e.Payload) != 8 {
			return ev, fmt.Errorf("intake: an entry of the round trip holds %d bytes, want 8", len(e.Payload))
		}
		ev.Trip = time.Duration(binary.BigEndian.Uint64(e.Payload))
	case watchdog.EvAlign:
		e.align(&ev)
	case watchdog.EvClose:
		ev.Text = string(e.Payload)
	default:
		return ev, ErrNoEvent
	}
	return ev, nil
}

func (e *Entry) ack(ev *watchdog.Event) {
	if e.Flags&Retained != 0 {
		bad(ev, "ack: retained, and so old by definition")
		return
	}
	a, err := wire.DecodeAck(e.whole(wire.AckMax))
	if err != nil {
		bad(ev, reason("ack", err))
		return
	}
	ev.Text = a.ID
}

func (e *Entry) request(ev *watchdog.Event) {
	r, err := wire.DecodeRequest(e.whole(wire.RequestMax))
	if err != nil {
		bad(ev, reason("request", err))
		return
	}
	ask, ok := watchdog.ParseAsk(r.Ask)
	if !ok {
		bad(ev, "request: asks for something other than start, stop, land or reset")
		return
	}
	ev.Ask, ev.By, ev.Nonce, ev.Retained = ask, r.By, r.Nonce, e.Flags&Retained != 0
	ev.Retrieve = r.Retrieve
}

func (e *Entry) align(ev *watchdog.Event) {
	a, err := wire.DecodeAlign(e.whole(wire.AlignMax))
	if err != nil {
		bad(ev, reason("align", err))
		return
	}
	ev.By, ev.Nonce, ev.Payload, ev.Retained = a.By, a.Nonce, []byte(a.File), e.Flags&Retained != 0
}

// whole is the payload, or one byte more than most where the link had cut it:
// a cut message must never pass for a whole one.
func (e *Entry) whole(most int) []byte {
	if e.Flags&TooLarge != 0 {
		return make([]byte, most+1)
	}
	return e.Payload
}

func bad(ev *watchdog.Event, why string) {
	*ev = watchdog.Event{Kind: watchdog.EvBad, Arrived: ev.Arrived, Text: why}
}

// reason names the kind of a fault and its place, not what stood there, so that
// each kind is reported once.
func reason(message string, err error) string {
	var e *wire.Error
	if errors.As(err, &e) {
		return message + ": " + e.Kind.String() + " " + e.Field
	}
	return message + ": unreadable"
}
