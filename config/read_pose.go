package config

import (
	"time"

	"pinfold/watchdog"
	"pinfold/watchdog/pose"
)

// defaultJumpMultiple times the speed limits is what no vehicle covers (common
// practice, no source). All other defaults are pose.DefaultConfig's, which the
// real recordings were tried by (docs/trust.md).
const defaultJumpMultiple = 3

// readPose reads [vehicle.pose] and what stands below it. The limits must have
// been read.
func (l *loader) readPose(vehicle *table, d *draft) *table {
	c := &d.cfg
	t := vehicle.sub("pose")
	p := &c.Pose
	fields, axes, preset := readFields(t)
	c.Fields = fields
	if !t.has("axes") && !preset {
		t.missing("axes", `say which way the tracker's axes point: axes = "z-up", "y-up", "ned" or "optical"`)
	}
	p.Axes = pose.Axes(t.word("axes", int(axes), pose.ZUp.String(), pose.YUp.String(), pose.NED.String(), pose.Optical.String()))
	readTrust(t, c)
	p.Mount = readMount(t)
	p.Align = l.readAlign(t, d)
	c.Stopping.AlignErr = p.Align.Residual
	t.done()
	return t
}

// readTrust reads the thresholds of the trust in a pose.
func readTrust(t *table, c *watchdog.Config) {
	p, tried := &c.Pose, pose.DefaultConfig()
	p.MaxAge = t.duration("max_age", tried.MaxAge, ms, MaxPermitValid)
	p.MaxLate = t.duration("max_late", p.MaxAge, 0, time.Minute)
	p.FrozenAfter = t.duration("frozen_after", tried.FrozenAfter, 0, time.Minute)
	p.MinConfidence = t.number("min_confidence", tried.MinConfidence, span{0, 1, ""})
	p.MinRateHz = t.number("min_rate", tried.MinRateHz, span{0, 2000, "Hz"})
	p.MaxSpeed = t.number("max_speed", jumpSpeed(c, tried.MaxSpeed), span{0, pose.MaxSpeed, "m/s"})
	p.JumpSlack = t.number("jump_slack", tried.JumpSlack, span{0, 1000, "m"})
	sharp := tried.MaxAccel
	if p.MaxSpeed == 0 {
		sharp = 0 // the jump test is off
	}
	p.MaxAccel = t.number("max_acceleration", sharp, span{0, pose.MaxSpeed, "m/s²"})
	if p.MaxAccel > 0 && p.MaxSpeed == 0 {
		t.report("max_acceleration", "needs max_speed beside it", "give max_speed, the speed the vehicle cannot exceed")
	}
	p.MaxClockStep = t.duration("max_clock_step", tried.MaxClockStep, 0, time.Minute)
	p.VelocityWindow = t.duration("velocity_window", tried.VelocityWindow, 0, time.Second)
	p.VelocityTolerance = t.number("velocity_tolerance", tried.VelocityTolerance, span{0, pose.MaxSpeed, "m/s"})
	p.RestartRadius = t.number("restart_radius", restartRadius(t, tried.RestartRadius), span{0, 1000, "m"})
	p.Settle = t.duration("settle", tried.Settle, 0, time.Minute)
}

// jumpSpeed is the speed, m/s, above which a step is a jump where the file does
// not say: by the vehicle's own limits; without a speed limit, the one that was
// tried.
func jumpSpeed(c *watchdog.Config, tried float64) float64 {
	speed, climb, descent := c.Limits[watchdog.LimitSpeed], c.Limits[watchdog.LimitClimb], c.Limits[watchdog.LimitDescent]
	if !speed.On {
		return tried
	}
	return defaultJumpMultiple * (speed.Max + max(climb.Max, descent.Max))
}

// angles is the range of an angle.
func angles() span { return span{-360, 360, "deg"} }

func readMount(t *table) pose.Mount {
	s := t.sub("mount")
	off, _ := s.numbers("offset", 3, span{-100, 100, "m"})
	m := pose.Mount{Offset: pose.Vec{X: off[0], Y: off[1], Z: off[2]}}
	roll, pitch, yaw := s.number("roll", 0, angles()), s.number("pitch", 0, angles()), s.number("yaw", 0, angles())
	if roll != 0 || pitch != 0 || yaw != 0 {
		m.Rotation = pose.FromEuler(roll*degree, pitch*degree, yaw*degree)
	}
	s.done()
	return m
}

// restartRadius is the one in force where the file does not say: off where the
// tracker's frame is the site's, since its origin is then a place like another.
func restartRadius(t *table, tried float64) float64 {
	if !t.has("align") {
		return 0
	}
	return tried
}

func (l *loader) readAlign(t *table, d *draft) pose.Alignment {
	s := t.sub("align")
	if s.has("file") {
		c := &d.cfg
		d.alignFile = s.text("file", "", MaxText)
		c.Tie = watchdog.Tie{Renew: true, Site: l.name, Most: s.number("tolerance", DefaultAlignTolerance, span{0, pose.MaxResidual, "m"})}
		s.done() // beside file no alignment may stand: there would be two
		return l.alignFile(s, d.alignFile, c)
	}
	at := pose.Vec{X: s.number("x", 0, span{-1e5, 1e5, "m"}), Y: s.number("y", 0, span{-1e5, 1e5, "m"}), Z: s.number("z", 0, span{-1e5, 1e5, "m"})}
	yaw := s.number("yaw", 0, angles())
	residual := s.number("residual", 0, span{0, 10, "m"})
	if s.given && !s.has("residual") {
		s.missing("residual", "give how far the tie may be off in metres, as align printed it; it widens every judgement")
	}
	a := pose.YawAlignment(yaw*degree, at, residual)
	a.Tracker = s.text("tracker", "", pose.MaxTrackerID)
	s.done()
	if !s.given {
		return pose.Alignment{}
	}
	return a
}
