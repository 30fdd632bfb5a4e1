package pose

import (
	"fmt"
	"math"
	"time"
)

// Still is the mean of a body that stood still.
type Still struct {
	Position Vec     // m, the body's centre, in the frame of the config's alignment
	Attitude Quat    // unit, body to that frame
	Move     float64 // m, furthest from the mean
	Turn     float64 // rad, furthest from the mean
	// Spread, m, and TurnSpread, rad, are the standard deviations about the
	// mean: of a coordinate, and about an axis.
	Spread, TurnSpread float64

	Tracker  string // id of the tracker's session, empty where not told
	From, To int64  // ns, stamps of the first and last sample
	Samples  int
}

// StillOptions says how still is still.
type StillOptions struct {
	Least   time.Duration // the least time of still pose, by stamps; zero: 2 s
	MaxMove float64       // m, furthest from the mean; zero: 0.01
	MaxTurn float64       // rad, furthest from the mean; zero: 1°
}

// defaulted is o with its defaults, or says what is wrong with it.
func (o StillOptions) defaulted() (StillOptions, error) {
	if o.Least == 0 {
		o.Least = 2 * time.Second
	}
	if o.MaxMove == 0 {
		o.MaxMove = 0.01
	}
	if o.MaxTurn == 0 {
		o.MaxTurn = math.Pi / 180
	}
	if o.Least < 0 || !(o.MaxMove > 0 && o.MaxMove <= MaxCoordinate) || !(o.MaxTurn > 0 && o.MaxTurn <= math.Pi) {
		return o, fmt.Errorf("align: still within %v m and %v rad for %v: must be finite and above zero", o.MaxMove, o.MaxTurn, o.Least)
	}
	return o, nil
}

// MeasureStill is the mean over samples of one session, without a gap, of a
// body that stood still; axes, mounting and alignment are c's. It refuses
// samples that by c's thresholds are not to be trusted, and a body that moves,
// and says by how much it did.
func MeasureStill(samples []Sample, c Config, o StillOptions) (Still, error) {
	o, err := o.defaulted()
	if err != nil {
		return Still{}, err
	}
	if c, err = c.checked(); err != nil {
		return Still{}, err
	}
	placed, err := placeAll(samples, &c, o.Least)
	if err != nil {
		return Still{}, err
	}
	if err := trusted(samples, c); err != nil {
		return Still{}, err
	}
	mean := meanEntry(placed)
	n := len(samples)
	st := Still{Position: mean.position, Attitude: mean.attitude,
		Tracker: samples[0].Tracker, From: samples[0].Stamp, To: samples[n-1].Stamp, Samples: n}
	if err := st.steady(placed, &o); err != nil {
		return Still{}, err
	}
	return st, nil
}

// Carrier carries single samples of a tracker into the site frame, without
// velocity and without trust: for surveying, not for guarding.
type Carrier struct{ cfg Config }

// NewCarrier is a Carrier by the axes, mounting and alignment of c.
func NewCarrier(c Config) (*Carrier, error) {
	c, err := c.checked()
	if err != nil {
		return nil, err
	}
	return &Carrier{c}, nil
}

// Carry gives where the body's centre is, m, and its attitude; or what is
// wrong with the sample.
func (k *Carrier) Carry(s *Sample) (Vec, Quat, *Fault) {
	if f := checkSample(s); f != nil {
		return Vec{}, Quat{}, f
	}
	var e entry
	k.cfg.place(s, &e)
	return e.position, e.attitude, nil
}
