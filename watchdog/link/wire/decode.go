package wire

import (
	"math"

	"github.com/go-json-experiment/json/jsontext"
)

// Reading is strict about what is known and open about what is not. Every
// member of a message, the retrieve and guard of a request and the wall of a state apart,
// must be there once, in its own case, of its own type, inside its range; null is an error except where unknown is a possible answer
// (the value and limit of a command or cause, the figures of a state). Members
// that are not known are passed over, so that a later version may add some: a
// member with the right to restrict a permit must therefore come as a new
// message, never as a new member.

// Decoder reads permits and commands without allocating once it has seen the
// names in use. The zero value is ready. It is not safe for use by several
// goroutines at once.
type Decoder struct {
	object         object
	guard, session string // of the last permit
}

var (
	permitFields  = []string{"guard", "session", "seq", "go", "stamp", "valid"}
	commandFields = []string{"id", "seq", "action", "cause", "zone", "value", "limit", "stamp", "valid"}
	ackFields     = []string{"id", "stamp", "action"}
	requestFields = []string{"ask", "by", "nonce", "retrieve", "guard"} // the last two may be missing
)

// DecodePermit reads a permit. The permit is zero, a withdrawal, when the error
// is not nil; the error is an *Error.
func DecodePermit(b []byte) (Permit, error) {
	var d Decoder
	return d.Permit(b)
}

// Permit reads a permit, as DecodePermit does.
func (d *Decoder) Permit(b []byte) (Permit, error) {
	p, err := d.permit(b)
	if err != nil {
		return Permit{}, err
	}
	d.guard, d.session = p.Guard, p.Session
	return p, nil
}

func (d *Decoder) permit(b []byte) (p Permit, err error) {
	o := &d.object
	if err = o.begin("permit", "", b, PermitMax, permitFields); err != nil {
		return p, err
	}
	for {
		i, v, err := o.next()
		if i < 0 || err != nil {
			return p, err
		}
		switch field := permitFields[i]; field {
		case "guard":
			p.Guard, err = o.id(field, v, d.guard)
		case "session":
			p.Session, err = o.id(field, v, d.session)
		case "seq":
			p.Seq, err = o.seq(field, v)
		case "go":
			p.Go, err = o.flag(field, v)
		case "stamp":
			p.Stamp, err = o.stamp(field, v)
		case "valid":
			p.Valid, err = o.number(field, v, 0, MaxValid)
		}
		if err != nil {
			return p, err
		}
	}
}

// DecodeCommand reads a command. The command is zero when the error is not nil:
// a vehicle that cannot read a command stops (receiver, rule 8).
func DecodeCommand(b []byte) (Command, error) {
	var d Decoder
	return d.Command(b)
}

// Command reads a command, as DecodeCommand does.
func (d *Decoder) Command(b []byte) (Command, error) {
	c, err := d.command(b)
	if err != nil {
		return Command{}, err
	}
	return c, nil
}

func (d *Decoder) command(b []byte) (c Command, err error) {
	o := &d.object
	if err = o.begin("command", "", b, CommandMax, commandFields); err != nil {
		return c, err
	}
	for {
		i, v, err := o.next()
		if i < 0 || err != nil {
			return c, err
		}
		switch field := commandFields[i]; field {
		case "id":
			c.ID, err = o.id(field, v, "")
		case "seq":
			c.Seq, err = o.seq(field, v)
		case "action":
			c.Action, err = o.word(field, v, Stop, Land)
		case "cause":
			c.Cause, err = o.text(field, v, NameMax, "")
		case "zone":
			c.Zone, err = o.text(field, v, NameMax, "")
		case "value":
			c.Value, err = o.unknown(field, v)
		case "limit":
			c.Limit, err = o.unknown(field, v)
		case "stamp":
			c.Stamp, err = o.stamp(field, v)
		case "valid":
			c.Valid, err = o.number(field, v, 0, MaxValid)
		}
		if err != nil {
			return c, err
		}
	}
}

// DecodeAck reads an ack; it is zero when the error is not nil.
func DecodeAck(b []byte) (Ack, error) {
	var o object
	a, err := o.ack(b)
	if err != nil {
		return Ack{}, err
	}
	return a, nil
}

func (o *object) ack(b []byte) (a Ack, err error) {
	if err = o.begin("ack", "", b, AckMax, ackFields); err != nil {
		return a, err
	}
	for {
		i, v, err := o.next()
		if i < 0 || err != nil {
			return a, err
		}
		switch field := ackFields[i]; field {
		case "id":
			a.ID, err = o.plainID(field, v)
		case "stamp":
			a.Stamp, err = o.stamp(field, v)
		case "action":
			a.Action, err = o.word(field, v, Stop, Land)
		}
		if err != nil {
			return a, err
		}
	}
}

// DecodeRequest reads a request; it is zero when the error is not nil.
func DecodeRequest(b []byte) (Request, error) {
	var o object
	r, err := o.request(b)
	if err != nil {
		return Request{}, err
	}
	return r, nil
}

// request reads a request. Who asks for a stop or a land has no bearing on it:
// where the name or the nonce is not what it should be, they are asked for by
// Unnamed; a start or a reset is refused.
func (o *object) request(b []byte) (r Request, err error) {
	if err = o.begin("request", "", b, RequestMax, requestFields); err != nil {
		return r, err
	}
	o.spare = 2
	var unnamed error
	for {
		i, v, err := o.next()
		if err != nil {
			return r, err
		}
		if i < 0 {
			if unnamed != nil && (r.Ask == Stop || r.Ask == Land) {
				return Request{Ask: r.Ask, By: Unnamed}, nil
			}
			return r, unnamed
		}
		switch field := requestFields[i]; field {
		case "ask":
			r.Ask, err = o.word(field, v, "start", Stop, Land, "reset")
		case "by":
			r.By, err = o.plainText(field, v, NameMax)
			unnamed, err = first(unnamed, err), nil
		case "nonce":
			r.Nonce, err = o.plainText(field, v, NameMax)
			unnamed, err = first(unnamed, err), nil
		case "retrieve":
			r.Retrieve, err = o.flag(field, v)
		case "guard":
			r.Guard, err = o.plainText(field, v, NameMax)
			unnamed, err = first(unnamed, err), nil
		}
		if err != nil {
			return r, err
		}
	}
}

// first is the first of two errors.
func first(a, b error) error {
	if a != nil {
		return a
	}
	return b
}

// unknown reads a finite number, or null as NaN.
func (o *object) unknown(field string, v jsontext.Value) (float64, error) {
	if v.Kind() == 'n' {
		return math.NaN(), nil
	}
	return o.number(field, v, -math.MaxFloat64, math.MaxFloat64)
}
