package pose

import (
	"fmt"
	"math"
	"time"
)

// PadOptions says where the pad is and how still is still.
type PadOptions struct {
	Position Vec           // m, site frame: the body's centre on its pad
	Yaw      float64       // rad, the body's heading on its pad, site frame
	Least    time.Duration // the least time of still pose, by stamps; zero: 2 s
	MaxMove  float64       // m, furthest from the mean; zero: 0.01
	MaxTurn  float64       // rad, furthest from the mean; zero: 1°
	// PositionError, m, and YawError, rad, are how far the vehicle stands off
	// the pad's place, in space, and its heading: no further 95 times of 100.
	PositionError float64
	YawError      float64
	// LevelError, rad, is how far off gravity the tracker's own vertical is about
	// either level axis, 95 times of 100. A vehicle on its pad does not show it.
	LevelError float64
	Reach      float64 // m, how far from the pad, on the level, the residual is to hold
	Rise       float64 // m, and how far above or below it
}

// padLevel is how far a vehicle on its pad may lean, rad.
const padLevel = 20 * math.Pi / 180

// AlignPad ties the tracker frame to the site by a vehicle that stands still on
// its pad: yaw and translation, gravity kept. Axes and mounting are c's, whose
// own alignment plays no part. The residual is the bound that the error at
// Reach and Rise, in whatever direction, stays under 95 times of 100; see uncertain.
func AlignPad(samples []Sample, c Config, o PadOptions) (Alignment, error) {
	if err := o.check(); err != nil {
		return Alignment{}, err
	}
	c.Align = Alignment{}
	st, err := MeasureStill(samples, c, StillOptions{Least: o.Least, MaxMove: o.MaxMove, MaxTurn: o.MaxTurn})
	if err != nil {
		return Alignment{}, err
	}
	return o.Tie(&st)
}

// Tie is AlignPad on what was measured already, in the tracker frame.
func (o *PadOptions) Tie(st *Still) (Alignment, error) {
	if err := o.check(); err != nil {
		return Alignment{}, err
	}
	if tilt := st.Attitude.Tilt(); tilt > padLevel {
		return Alignment{}, fmt.Errorf("align: the vehicle leans by %.0f° on its pad: set it level, or check axes and mounting", tilt*180/math.Pi)
	}
	a := YawAlignment(o.Yaw-st.Attitude.Yaw(), Vec{}, o.uncertain(st))
	a.Translation = o.Position.Sub(a.Point(st.Position))
	a.Tracker, a.Since = st.Tracker, st.From
	return a.checked()
}

func (o *PadOptions) check() error {
	for _, n := range []float64{o.MaxMove, o.MaxTurn, o.PositionError, o.YawError, o.LevelError, o.Reach, o.Rise} {
		if !(n >= 0 && n <= MaxCoordinate) {
			return fmt.Errorf("align: pad options %+v: lengths and angles must be finite and not below zero", *o)
		}
	}
	if !o.Position.within(MaxCoordinate) || !finite(o.Yaw) || o.Least < 0 {
		return fmt.Errorf("align: pad at %v m, yaw %v rad, for %v: must be finite and within ±%g m", o.Position, o.Yaw, o.Least, float64(MaxCoordinate))
	}
	return nil
}

// placeAll carries the samples to the body's centre, all of one session, and
// enough of them.
func placeAll(samples []Sample, c *Config, least time.Duration) ([]entry, error) {
	out := make([]entry, len(samples))
	for i := range samples {
		s := &samples[i]
		if f := checkSample(s); f != nil {
			return nil, fmt.Errorf("align: sample %d: %w", i+1, f)
		}
		switch {
		case s.Tracker != samples[0].Tracker:
			return nil, fmt.Errorf("align: the tracker restarted meanwhile (%q, then %q): begin again", samples[0].Tracker, s.Tracker)
		case i > 0 && s.Stamp <= samples[i-1].Stamp:
			return nil, fmt.Errorf("align: sample %d: stamp %d ns is not after %d ns", i+1, s.Stamp, samples[i-1].Stamp)
		case i > 0 && time.Duration(s.Stamp-samples[i-1].Stamp) > c.MaxAge:
			return nil, fmt.Errorf("align: no pose for %v (max age %v): begin again", time.Duration(s.Stamp-samples[i-1].Stamp), c.MaxAge)
		}
		c.place(s, &out[i])
	}
	if n := len(out); n < 2 || time.Duration(out[n-1].stamp-out[0].stamp) < least {
		return nil, fmt.Errorf("align: %d samples do not last for %v: keep the vehicle on its pad for longer", n, least)
	}
	return out, nil
}

// meanEntry is the mean position and attitude; q and −q are the same attitude.
func meanEntry(e []entry) (mean entry) {
	var q Quat
	for i := range e {
		mean.position = mean.position.Add(e[i].position)
		a, b := e[i].attitude, e[0].attitude
		k := 1.0
		if float64(a.W*b.W)+float64(a.X*b.X)+float64(a.Y*b.Y)+float64(a.Z*b.Z) < 0 {
			k = -1
		}
		q = Quat{q.W + float64(k*a.W), q.X + float64(k*a.X), q.Y + float64(k*a.Y), q.Z + float64(k*a.Z)}
	}
	mean.position = mean.position.Scale(1 / float64(len(e)))
	n := q.Norm() // above zero: all are on the side of the first
	mean.attitude = Quat{q.W / n, q.X / n, q.Y / n, q.Z / n}
	return mean
}

// steady says how much a body moved about its mean, and refuses one that moved
// too much.
func (st *Still) steady(e []entry, o *StillOptions) error {
	squares, turns := 0.0, 0.0
	for i := range e {
		d := e[i].position.Sub(st.Position)
		r := e[i].attitude.Mul(st.Attitude.Conj()).rotationVector()
		squares, turns = squares+d.Dot(d), turns+r.Dot(r)
		st.Move, st.Turn = math.Max(st.Move, d.Norm()), math.Max(st.Turn, r.Norm())
	}
	n := 3 * float64(len(e)-1) // three coordinates; two samples at least were asked for
	st.Spread, st.TurnSpread = math.Sqrt(squares/n), math.Sqrt(turns/n)
	if st.Move > o.MaxMove || st.Turn > o.MaxTurn {
		return fmt.Errorf("align: the vehicle moved by %.3f m and %.1f° (at most %.3f m and %.1f°): let it stand still and begin again",
			st.Move, st.Turn*180/math.Pi, o.MaxMove, o.MaxTurn*180/math.Pi)
	}
	return nil
}
