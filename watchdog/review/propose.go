package review

import (
	"fmt"
	"math"
	"strconv"

	"pinfold/config"
	"pinfold/watchdog"
)

// headroom keeps what is used below the caution of the limit proposed for it.
const headroom = config.CautionShare

// propose turns what was measured into changes and findings.
func (e *editor) propose(index int, v *config.Vehicle, l *Learned) {
	e.stopping(index, v, l)
	for _, id := range []watchdog.LimitID{watchdog.LimitSpeed, watchdog.LimitTilt} {
		e.limit(index, id, l)
	}
	e.drift(index, v, l)
	e.answers(l)
}

// drift holds what the tracker crept against what is declared for its position.
func (e *editor) drift(index int, v *config.Vehicle, l *Learned) {
	if l.bad > 0 {
		l.find("%s not to be relied on and %s not counted; see review of the session", count(l.bad, "drift is", "drifts are"), map[bool]string{true: "is", false: "are"}[l.bad == 1])
	}
	switch d := &l.Drift; {
	case d.N == 0:
		l.find("the drift was not measured at close: align --close, back on the pad, says what position_error has to cover")
	case d.Brave:
		cm := math.Ceil(100*(d.Worst-v.Config.Stopping.AlignErr) - 1e-9)
		e.change(index, l, "stopping", "position_error", strconv.FormatFloat(cm/100, 'f', -1, 64), func(c *watchdog.Config) bool {
			return math.Abs(c.Stopping.PositionErr-cm/100) < 1e-9
		}, fmt.Sprintf("the worst of %s called for %.3f m", count(d.N, "drift", "drifts"), d.Worst))
	default:
		l.find("the drift called for %.3f m at most, %.3f m declared, the alignment's residual included: declaring less would loosen, and is not proposed", d.Worst, d.Declared)
	}
}

func (e *editor) stopping(index int, v *config.Vehicle, l *Learned) {
	s := &v.Config.Stopping
	if !s.Predict {
		l.find("nothing is predicted: the declared stop is not used, and nothing is proposed for it")
		return
	}
	if l.Reaction.N == 0 && l.Deceleration.N == 0 {
		l.find("no stop was fast enough (%.1f m/s) to measure how the vehicle answers", measurable)
		return
	}
	switch r := &l.Reaction; {
	case r.N == 0:
	case r.Brave:
		ms := math.Ceil(1000*r.Worst/5-1e-9) * 5
		e.change(index, l, "stopping", "reaction", strconv.Quote(fmt.Sprintf("%.0fms", ms)), func(c *watchdog.Config) bool {
			return math.Abs(c.Stopping.Reaction.Seconds()-ms/1000) < 1e-9
		}, fmt.Sprintf("the slowest of %d was %.0f ms", r.N, 1000*r.Worst))
	default:
		l.find("the reaction was %.0f ms at most in %s, %.0f ms declared: declaring less would loosen, and is not proposed", 1000*r.Worst, count(r.N, "stop", "stops"), 1000*r.Declared)
	}
	switch d := &l.Deceleration; {
	case d.N == 0:
	case d.Brave && s.Slope != 0:
		l.find("the braking was only %.2f m/s², %.2f declared on the slope: whether those stops were on the slope is not known, so declare it yourself", d.Worst, d.Declared)
	case d.Brave:
		e.braking(index, l, d)
	default:
		l.find("the braking was %.2f m/s² at least in %s, %.2f declared: declaring more would loosen, and is not proposed", d.Worst, count(d.N, "stop", "stops"), d.Declared)
	}
}

// braking changes the deceleration, or the tilt it is declared as.
func (e *editor) braking(index int, l *Learned, d *Measured) {
	why := fmt.Sprintf("the weakest of %d was %.3f m/s²", d.N, d.Worst)
	a := math.Floor(100*d.Worst+1e-9) / 100
	key, text := "deceleration", strconv.FormatFloat(a, 'f', -1, 64)
	if e.has(index, "stopping", "tilt") {
		deg := math.Floor(10*math.Atan(d.Worst/watchdog.Gravity)*180/math.Pi) / 10
		key, text, a = "tilt", strconv.FormatFloat(deg, 'f', -1, 64), watchdog.BrakingByTilt(deg*math.Pi/180)
	}
	e.change(index, l, "stopping", key, text, func(c *watchdog.Config) bool { return math.Abs(c.Stopping.Deceleration-a) < 1e-9 }, why)
}

// limit proposes a limit whose caution just passes what was used.
func (e *editor) limit(index int, id watchdog.LimitID, l *Learned) {
	u := &l.Limits[id]
	step := 0.05
	if id == watchdog.LimitTilt {
		step = 1
	}
	most := math.Ceil(u.P999/headroom/step-1e-9) * step
	most = math.Round(most*100) / 100
	switch {
	case u.P999 <= 0:
		l.find("%s was not used", u.Name)
	case !u.On:
		l.find("%s has no limit; 99.9 %% of the time it was at most %.2f %s: consider one of %g", u.Name, u.P999, u.Unit, most)
	case most >= u.Max && u.P999 > headroom*u.Max:
		l.find("%s was used up to %.2f %s, past the caution of its limit %g: a higher limit would loosen, and is not proposed", u.Name, u.P999, u.Unit, u.Max)
	case most >= u.Max:
	case l.Permitted < LeastUse:
		l.find("%s: a limit of %g %s would have been enough, but %.0f s of permission are too few to propose it (%d s)", u.Name, most, u.Unit, l.Permitted, LeastUse)
	default:
		why := fmt.Sprintf("at most %.2f %s was used for 99.9 %% of %s", u.P999, u.Unit, span(l.Permitted))
		ok := func(c *watchdog.Config) bool { return c.Limits[id].Max == most }
		text := strconv.FormatFloat(most, 'f', -1, 64)
		if e.has(index, "limits."+u.Name, "max") {
			e.change(index, l, "limits."+u.Name, "max", text, ok, why)
		} else {
			e.change(index, l, "limits", u.Name, text, ok, why)
		}
	}
}

// answers tells how commands were acknowledged and how the link was.
func (e *editor) answers(l *Learned) {
	if l.Acked < l.Commands {
		l.find("%d of %s not acknowledged", l.Commands-l.Acked, count(l.Commands, "command was", "commands were"))
	}
	if l.Ack > l.AckWithin {
		l.find("the slowest acknowledgement took %.0f ms, %.0f ms declared: a longer ack_within would loosen, and is not proposed; mend the link", 1000*l.Ack, 1000*l.AckWithin)
	}
	if l.Downs > 0 {
		l.find("the link was down %s, for %s", count(l.Downs, "time", "times"), span(l.Down))
	}
}

func (l *Learned) find(format string, a ...any) {
	l.Findings = append(l.Findings, fmt.Sprintf(format, a...))
}
