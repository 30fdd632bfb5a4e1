package wire

import (
	"bytes"
	"math"
	"strconv"

	"github.com/go-json-experiment/json/jsontext"
)

var (
	stateFields = []string{"guard", "session", "seq", "vehicle", "level", "go", "causes", "latched",
		"clearance", "speed", "height", "tilt", "pose_age", "nonce", "blocked", "trail", "wall",
		"aligned", "align_sent", "align_said", "trip_p50", "trip_p99", "trip_worst", "site_said", "trail_said"} // those after trail may be missing
	causeFields = []string{"cause", "name", "value", "limit", "unit", "text"}
)

// Levels are the words a state's level may be, calmest first.
var levels = []string{"waiting", "clear", "caution", "stop", "land"}

// DecodeState reads a state, for displays and for the nonce of a request; it is
// zero when the error is not nil.
func DecodeState(b []byte) (State, error) {
	var o object
	s, err := o.state(b)
	if err != nil {
		return State{}, err
	}
	return s, nil
}

func (o *object) state(b []byte) (s State, err error) {
	if err = o.begin("state", "", b, StateMax, stateFields); err != nil {
		return s, err
	}
	o.spare = 9
	for {
		i, v, err := o.next()
		if i < 0 || err != nil {
			return s, err
		}
		switch field := stateFields[i]; field {
		case "guard":
			s.Guard, err = o.plainID(field, v)
		case "session":
			s.Session, err = o.plainID(field, v)
		case "seq":
			s.Seq, err = o.seq(field, v)
		case "vehicle":
			s.Vehicle, err = o.plainID(field, v)
		case "level":
			s.Level, err = o.word(field, v, levels...)
		case "go":
			s.Go, err = o.flag(field, v)
		case "nonce":
			s.Nonce, err = o.plainText(field, v, NameMax)
		case "trail":
			s.Trail, err = o.plainText(field, v, 2*NameMax)
		case "wall":
			s.Wall, err = o.plainText(field, v, NameMax)
		default:
			err = o.stateFigure(&s, field, v)
		}
		if err != nil {
			return s, err
		}
	}
}

// stateFigure reads the figures and lists of a state.
func (o *object) stateFigure(s *State, field string, v jsontext.Value) (err error) {
	switch field {
	case "aligned":
		s.Aligned, err = o.plainText(field, v, NameMax)
	case "align_sent":
		s.AlignSent, err = o.plainText(field, v, NameMax)
	case "align_said":
		s.AlignSaid, err = o.plainText(field, v, TextMax)
	case "site_said":
		s.SiteSaid, err = o.plainText(field, v, TextMax)
	case "trail_said":
		s.TrailSaid, err = o.plainText(field, v, TextMax)
	case "causes":
		s.Causes, err = o.causes(field, v)
	case "latched":
		s.Latched, err = o.causes(field, v)
	case "blocked":
		s.Blocked, err = o.sentences(field, v)
	case "clearance":
		s.Clearance, err = o.optional(field, v)
	case "speed":
		s.Speed, err = o.optional(field, v)
	case "height":
		s.Height, err = o.optional(field, v)
	case "tilt":
		s.Tilt, err = o.optional(field, v)
	case "trip_p50":
		s.TripP50, err = o.optional(field, v)
	case "trip_p99":
		s.TripP99, err = o.optional(field, v)
	case "trip_worst":
		s.TripWorst, err = o.optional(field, v)
	case "pose_age":
		s.PoseAge, err = o.optional(field, v)
	}
	return err
}

// optional reads a finite number, or null as nil.
func (o *object) optional(field string, v jsontext.Value) (*float64, error) {
	if v.Kind() == 'n' {
		return nil, nil
	}
	f, err := o.number(field, v, -math.MaxFloat64, math.MaxFloat64)
	if err != nil {
		return nil, err
	}
	return &f, nil
}

// causes reads a list of causes; an empty list is nil.
func (o *object) causes(field string, v jsontext.Value) (list []Cause, err error) {
	err = o.list(field, v, func(path string, v jsontext.Value) error {
		var inner object
		c, err := inner.cause(o.message, path, v)
		list = append(list, c)
		return err
	})
	return list, err
}

func (o *object) sentences(field string, v jsontext.Value) (list []string, err error) {
	err = o.list(field, v, func(path string, v jsontext.Value) error {
		s, err := o.plainText(path[1:], v, TextMax)
		list = append(list, s)
		return err
	})
	return list, err
}

// list calls each with the path and value of every entry, at most ListMax.
func (o *object) list(field string, v jsontext.Value, each func(string, jsontext.Value) error) error {
	if err := o.kind(field, v, '[', "a list"); err != nil {
		return err
	}
	var dec jsontext.Decoder
	dec.Reset(bytes.NewBuffer(v))
	if _, err := dec.ReadToken(); err != nil {
		return o.syntax(err)
	}
	for n := 0; dec.PeekKind() != ']'; n++ {
		if n == ListMax {
			return o.refuse(TooLong, field, "more than "+strconv.Itoa(ListMax)+" entries")
		}
		entry, err := dec.ReadValue()
		if err != nil {
			return o.syntax(err)
		}
		if err := each("/"+field+"/"+strconv.Itoa(n), entry); err != nil {
			return err
		}
	}
	return nil
}

func (o *object) cause(message, path string, b []byte) (c Cause, err error) {
	if err = o.begin(message, path, b, StateMax, causeFields); err != nil {
		return c, err
	}
	for {
		i, v, err := o.next()
		if i < 0 || err != nil {
			return c, err
		}
		switch field := causeFields[i]; field {
		case "cause":
			c.Cause, err = o.plainText(field, v, NameMax)
		case "name":
			c.Name, err = o.plainText(field, v, NameMax)
		case "value":
			c.Value, err = o.unknown(field, v)
		case "limit":
			c.Limit, err = o.unknown(field, v)
		case "unit":
			c.Unit, err = o.plainText(field, v, NameMax)
		case "text":
			c.Text, err = o.plainText(field, v, TextMax)
		}
		if err != nil {
			return c, err
		}
	}
}
