package pose

import "math"

// Decoder reads one tracker's messages. It keeps its scratch space between
// messages and is not for use by two goroutines at once.
type Decoder struct {
	fields   Fields
	root     *node
	pointers [leafCount]string
	velocity uint32 // bits of the configured velocity leaves
	attitude uint32 // bits of the configured attitude leaves
	euler    bool

	in      cursor
	has     uint32 // leaves found in this message
	seen    uint64 // edges walked in this message
	found   [leafConfidence + 1]float64
	stamp   int64
	nanos   int64
	seq     uint64
	tracker string // kept from message to message: an equal id costs no allocation
}

// NewDecoder compiles the pointers of f, and says what is wrong with them.
func NewDecoder(f Fields) (*Decoder, error) {
	if err := f.check(); err != nil {
		return nil, err
	}
	root, pointers, err := pointerTree(&f)
	if err != nil {
		return nil, err
	}
	d := &Decoder{fields: f, root: root, pointers: pointers, euler: f.Roll != ""}
	d.attitude = bitsOf(leafQW, leafQX, leafQY, leafQZ)
	if d.euler {
		d.attitude = bitsOf(leafRoll, leafPitch, leafYaw)
	}
	if f.VX != "" {
		d.velocity = bitsOf(leafVX, leafVY, leafVZ)
	}
	return d, nil
}

func bitsOf(leaves ...leaf) (bits uint32) {
	for _, l := range leaves {
		bits |= 1 << l
	}
	return bits
}

// Decode reads one message, JSON or as configured CBOR, into s; nil means that
// all of it is fine. On a fault s is the zero Sample: nothing half-read leaves.
//
// Members that no pointer leads to may be anything that is well-formed. A key
// on the way to a field must stand once, in exactly the configured case. Decode
// does not allocate unless it finds a fault or a new tracker id, and keeps
// nothing of payload.
func (d *Decoder) Decode(payload []byte, s *Sample) *Fault {
	*s = Sample{}
	if len(payload) > MaxPayload {
		return d.tooLarge(len(payload))
	}
	d.has, d.seen = 0, 0
	d.in = cursor{b: payload, scratch: d.in.scratch}
	var fault *Fault
	if d.fields.CBOR {
		fault = d.cborDocument()
	} else {
		fault = d.document()
	}
	d.in.b = nil
	if fault != nil {
		return fault
	}
	return d.fill(s)
}

func (d *Decoder) tooLarge(size int) *Fault {
	return &Fault{Kind: TooLarge, Detail: sizeDetail(size)}
}

// fill checks what was found for presence and range, and hands it over.
func (d *Decoder) fill(s *Sample) *Fault {
	if f := d.present(); f != nil {
		return f
	}
	q, f := d.orientation()
	if f != nil {
		return f
	}
	if d.has&(1<<leafNanos) != 0 {
		if d.stamp > math.MaxInt64-d.nanos {
			return d.outOfRange(leafStamp)
		}
		d.stamp += d.nanos
	}
	if d.stamp > MaxStamp || d.stamp < -MaxStamp {
		return d.outOfRange(leafStamp)
	}
	s.Stamp = d.stamp
	s.Position = Vec{d.found[leafX], d.found[leafY], d.found[leafZ]}
	s.Orientation = q
	if d.velocity != 0 && d.has&d.velocity == d.velocity {
		s.HasVelocity = true
		s.Velocity = Vec{d.found[leafVX], d.found[leafVY], d.found[leafVZ]}
		if d.fields.BodyVelocity {
			s.Velocity = q.Rotate(s.Velocity)
		}
	}
	if d.has&(1<<leafSeq) != 0 {
		s.Seq, s.HasSeq = d.seq, true
	}
	if d.has&(1<<leafConfidence) != 0 {
		s.Confidence, s.HasConfidence = d.found[leafConfidence], true
	}
	if d.has&(1<<leafTracker) != 0 {
		s.Tracker = d.tracker
	}
	return nil
}

// present reports the first required field that is absent, and a velocity
// that is there only in part.
func (d *Decoder) present() *Fault {
	need := d.attitude | bitsOf(leafX, leafY, leafZ, leafStamp)
	if d.fields.StampNanos != "" {
		need |= 1 << leafNanos
	}
	if d.has&d.velocity != 0 {
		need |= d.velocity
	}
	if d.has&need == need {
		return nil
	}
	for l := range leafCount {
		if need&^d.has&(1<<l) != 0 {
			return &Fault{Kind: Missing, Field: d.pointers[l], Detail: "absent"}
		}
	}
	return nil
}

// orientation is the attitude as a unit quaternion.
func (d *Decoder) orientation() (Quat, *Fault) {
	if d.euler {
		k := 1.0
		if d.fields.Degrees {
			k = math.Pi / 180
		}
		return FromEuler(k*d.found[leafRoll], k*d.found[leafPitch], k*d.found[leafYaw]), nil
	}
	raw := Quat{d.found[leafQW], d.found[leafQX], d.found[leafQY], d.found[leafQZ]}
	q, ok := raw.Unit()
	if !ok {
		return q, &Fault{Kind: NotUnit, Field: d.pointers[leafQW], Detail: "norm " + floatDetail(raw.Norm())}
	}
	return q, nil
}

func (d *Decoder) outOfRange(l leaf) *Fault {
	return &Fault{Kind: OutOfRange, Field: d.pointers[l], Detail: "not within 0..4611686018 s, the year 2116"}
}
