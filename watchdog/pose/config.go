package pose

import (
	"fmt"
	"math"
	"time"
)

// Mount is where the tracker sits on the body. The zero value is a tracker at
// the body's centre, looking forward.
type Mount struct {
	Offset   Vec  // m, from the body's centre to the tracker, body frame (x forward, y left, z up)
	Rotation Quat // unit, carries the tracker's own axes (after Axes) into the body's; the zero Quat is the identity
}

// Bounds of a configuration.
const (
	maxInterval = time.Hour   // any duration of Config
	maxWindow   = time.Second // velocity window
	maxRateHz   = 2000        // least rate
	// rateSpan is the span over which the rate is counted.
	rateSpan = time.Second
)

// Config says how a tracker's samples become poses and when they are trusted.
// A check whose threshold is zero is off, but for MaxAge, which NewTrack
// refuses: every pose grows old.
type Config struct {
	Axes  Axes
	Mount Mount
	Align Alignment
	// WallZero is the wall clock, ns since 1970 UTC, at the instant zero; zero
	// where it is not known: then no epoch is compared.
	WallZero int64

	// MaxAge is the age of the newest pose above which it is Stale. A step
	// between stamps longer than this is a gap: no velocity is derived across.
	MaxAge time.Duration
	// MaxLate is how late a message may arrive, measured against the earliest
	// ones, before the pose is Late.
	MaxLate time.Duration
	// FrozenAfter is how long position and orientation may stay bit-identical
	// while messages keep coming.
	FrozenAfter time.Duration
	// MinConfidence, 0..1: a sample below it, or without any, is Unsure.
	MinConfidence float64
	// MinRateHz is the least number of accepted samples in any one second.
	MinRateHz float64

	// MaxSpeed, m/s, and JumpSlack, m, are the jump test: a sample further
	// from an earlier one than MaxSpeed·dt + JumpSlack is Jumped. JumpSlack is
	// what the tracker's noise may add, and what bunched stamps may hide.
	MaxSpeed  float64
	JumpSlack float64
	// MaxAccel, m/s², sharpens the jump test where the velocity is known: a
	// sample further than MaxAccel·(½dt² + lag·dt) + JumpSlack from where that
	// velocity leads is Jumped as well.
	MaxAccel float64

	// MaxClockStep is how far the sender's stamps may leap ahead of the local
	// clock from one sample to the next before the pose is ClockStep.
	MaxClockStep time.Duration

	// VelocityWindow is the span of the slope velocity is derived from. Zero,
	// or less than two samples' distance, is the difference of two samples.
	// Where fewer than four samples lie within it, it stretches to at most
	// twice its span, so that one bad sample can be told and left out.
	// A velocity is known once the samples span half of it. Its noise is
	// σ·√(12/(n·(n²−1)))/Δ for n samples Δ s apart, each off by σ m.
	VelocityWindow time.Duration
	// VelocityTolerance, m/s, is how far reported and derived velocity may
	// differ over the window before the pose Disagrees. Where not every sample
	// of the window reports one they cannot be compared, and the derived one
	// stands.
	VelocityTolerance float64

	// RestartRadius, m: a tracker that tells no id, or no more, and that, after
	// a gap, stands this close to its own origin, having been further away than three
	// times as much just before, is taken for Restarted.
	RestartRadius float64

	// Settle is how long a jump, a disagreement or a clock step is held
	// against the pose. Zero: only the sample it was seen on.
	Settle time.Duration
}

// checked is c with normalised rotations, or says what is wrong with it.
func (c Config) checked() (Config, error) {
	if c.Axes > Optical {
		return c, fmt.Errorf("pose: axes %d: not one of %s", c.Axes, axesNames)
	}
	var err error
	if c.Mount.Rotation, err = rotationOrIdentity(c.Mount.Rotation); err != nil {
		return c, fmt.Errorf("pose: mount rotation: %w", err)
	}
	if !c.Mount.Offset.within(MaxCoordinate) {
		return c, fmt.Errorf("pose: mount offset %v: not finite or beyond ±%g m", c.Mount.Offset, float64(MaxCoordinate))
	}
	if c.Align, err = c.Align.checked(); err != nil {
		return c, fmt.Errorf("pose: %w", err)
	}
	if c.MaxAge <= 0 {
		return c, fmt.Errorf("pose: max age %v: must be positive, or a lost tracker would never be noticed", c.MaxAge)
	}
	if err := c.checkDurations(); err != nil {
		return c, err
	}
	return c, c.checkNumbers()
}

func (c *Config) checkDurations() error {
	for _, d := range []struct {
		name  string
		value time.Duration
		most  time.Duration
	}{
		{"max age", c.MaxAge, maxInterval}, {"max late", c.MaxLate, maxInterval},
		{"frozen after", c.FrozenAfter, maxInterval}, {"max clock step", c.MaxClockStep, maxInterval},
		{"velocity window", c.VelocityWindow, maxWindow}, {"settle", c.Settle, maxInterval},
	} {
		if d.value < 0 || d.value > d.most {
			return fmt.Errorf("pose: %s %v: not within 0..%v", d.name, d.value, d.most)
		}
	}
	return nil
}

func (c *Config) checkNumbers() error {
	for _, n := range []struct {
		name, unit string
		value      float64
		most       float64
	}{
		{"least confidence", "", c.MinConfidence, 1}, {"least rate", " Hz", c.MinRateHz, maxRateHz},
		{"max speed", " m/s", c.MaxSpeed, MaxSpeed}, {"jump slack", " m", c.JumpSlack, MaxCoordinate},
		{"max acceleration", " m/s²", c.MaxAccel, MaxSpeed},
		{"velocity tolerance", " m/s", c.VelocityTolerance, MaxSpeed},
		{"restart radius", " m", c.RestartRadius, MaxCoordinate},
	} {
		if !(n.value >= 0 && n.value <= n.most) || math.IsInf(n.value, 0) {
			return fmt.Errorf("pose: %s %v%s: not within 0..%g", n.name, n.value, n.unit, n.most)
		}
	}
	if c.MaxAccel > 0 && c.MaxSpeed == 0 {
		return fmt.Errorf("pose: max acceleration %v m/s² without a max speed: the jump test needs both", c.MaxAccel)
	}
	return nil
}
