package config

import (
	"fmt"
	"time"

	"pinfold/watchdog"
)

// Errors of the tracker where the file does not say: what a self-contained
// tracking camera may be off indoors (common practice, no source; measure it).
const (
	DefaultPositionError = 0.02 // m
	DefaultVelocityError = 0.05 // m/s
)

// Ranges of the declared stop.
const (
	maxReaction  = 10 * time.Second
	minBraking   = 1e-3 // m/s²
	maxBraking   = 1e3  // m/s²
	maxBrakeTilt = 45   // deg, the Θ of JARUS SORA 2.5 Annex A §A.5.2
)

// readStopping reads [vehicle.stopping]. tilted says that the deceleration was
// given as the angle a multirotor leans back by.
func readStopping(vehicle *table, c *watchdog.Config) (t *table, tilted bool) {
	t = vehicle.sub("stopping")
	s := &c.Stopping
	s.Predict = t.flag("predict", true)
	s.Reaction = t.duration("reaction", 0, 0, maxReaction)
	if s.Predict && !t.has("reaction") {
		t.missing("reaction", `give the time from the permit's withdrawal to the first braking, measured on the vehicle, like reaction = "150ms"`)
	}
	s.Trip = t.duration("link", 0, 0, maxReaction)
	if t.fine("link") && t.fine("reaction") && s.Trip > s.Reaction {
		t.report("link", fmt.Sprintf("is longer than the reaction of %v, which it is a part of", s.Reaction), "let reaction cover the link and the vehicle, and link be the part that is for the link")
	}
	s.Deceleration, tilted = readBraking(t, s.Predict, c.Kind)
	s.Vertical = t.number("vertical", s.Deceleration, span{minBraking, maxBraking, "m/s²"})
	if t.fine("vertical") && c.Kind == watchdog.Rover {
		t.report("vertical", "is nothing a rover does", "remove it")
	}
	s.Acceleration = t.number("acceleration", 0, span{0, maxBraking, "m/s²"})
	s.Slope = t.number("slope", 0, span{0, 10, "rise over run"})
	s.CoverLoss = t.flag("cover_loss", false)
	s.Margin = t.number("margin", 0, span{0, 100, "m"})
	s.PositionErr = t.number("position_error", onlyIf(s.Predict, DefaultPositionError), span{0, 100, "m"})
	s.VelocityErr = t.number("velocity_error", onlyIf(s.Predict, DefaultVelocityError), span{0, 100, "m/s"})
	if s.Predict && s.Deceleration > 0 && !t.r.bad[t.at.key("slope")] {
		if _, ok := watchdog.OnSlope(s.Deceleration, s.Slope); !ok {
			t.report("slope", fmt.Sprintf("is so steep that braking with %s m/s² holds nothing: the vehicle would never stop", num(s.Deceleration)), "keep off such slopes, or declare a braking the vehicle has been seen to reach there")
		}
	}
	t.done()
	return t, tilted
}

// onlyIf is v where yes, and otherwise 0.
func onlyIf(yes bool, v float64) float64 {
	if yes {
		return v
	}
	return 0
}

// readBraking reads deceleration or tilt.
func readBraking(t *table, predict bool, kind watchdog.Kind) (a float64, tilted bool) {
	a = t.number("deceleration", 0, span{minBraking, maxBraking, "m/s²"})
	tilt := t.number("tilt", 0, span{0.1, maxBrakeTilt, "deg"})
	const next = "give the braking measured on the vehicle: deceleration in m/s²; for a multirotor alternatively tilt in degrees, the angle it leans back by"
	switch {
	case t.has("deceleration") && t.has("tilt"):
		t.report("tilt", "is given beside deceleration: they say the same thing twice", "keep one of the two")
	case t.fine("tilt") && kind == watchdog.Rover:
		t.report("tilt", "is not how a rover brakes", "give deceleration in m/s²")
	case t.fine("tilt"):
		return watchdog.BrakingByTilt(tilt * degree), true
	case predict && !t.has("deceleration") && !t.has("tilt"):
		t.missing("deceleration", next)
	}
	return a, false
}
