package walk

import (
	"fmt"
	"math"

	"pinfold/watchdog"
	"pinfold/zones"
)

// limits lists the limits that are on.
func (p *planner) limits() {
	for id := watchdog.LimitID(0); id < watchdog.NumLimits; id++ {
		l := p.cfg.Limits[id]
		if !l.On {
			continue
		}
		name, unit := id.Name()
		it := Item{Kind: Limit, Name: name, Max: l.Max, Unit: unit, limit: int(id)}
		it.Text = limitText(id, l.Max)
		if why := p.unreachable(id, &l); why != "" {
			it.not("%s", why)
		}
		if id == watchdog.LimitDistance && it.Outcome == "" {
			p.distance(&it, l.Max)
		}
		p.items = append(p.items, it)
	}
}

// limitText is what to do.
func limitText(id watchdog.LimitID, most float64) string {
	switch id {
	case watchdog.LimitHeight:
		return fmt.Sprintf("lift it slowly above %.2f m", most)
	case watchdog.LimitSpeed:
		return fmt.Sprintf("walk briskly, faster than %.2f m/s, where there is room", most)
	case watchdog.LimitClimb:
		return fmt.Sprintf("lift it faster than %.2f m/s", most)
	case watchdog.LimitDescent:
		return fmt.Sprintf("lower it faster than %.2f m/s", most)
	case watchdog.LimitTilt:
		return fmt.Sprintf("tilt it by more than %.0f°", most)
	case watchdog.LimitTurn:
		return fmt.Sprintf("turn it about the vertical, faster than %.0f°/s", most)
	case watchdog.LimitDistance:
		return fmt.Sprintf("carry it %.2f m away from home", most)
	}
	return fmt.Sprintf("%.0f s after the start", most)
}

// unreachable says why a hand cannot show a limit; empty: it can.
func (p *planner) unreachable(id watchdog.LimitID, l *watchdog.Limit) string {
	most := map[watchdog.LimitID]float64{watchdog.LimitHeight: handHigh + p.cfg.Stopping.Margin + p.cfg.Stopping.PlaceErr(),
		watchdog.LimitSpeed: brisk, watchdog.LimitClimb: lift, watchdog.LimitDescent: lift,
		watchdog.LimitTilt: 120, watchdog.LimitTurn: whirl, watchdog.LimitDistance: math.Inf(1)}
	m, ok := most[id]
	_, unit := id.Name()
	switch {
	case !ok:
		return "it counts from a start, and there is none"
	case l.Answer < watchdog.ActStop:
		return "it only calls for caution"
	case p.cfg.Kind == watchdog.Rover && (id == watchdog.LimitClimb || id == watchdog.LimitDescent):
		return "a rover's is not for the hand: it would be lifted off its floor"
	case l.Max >= m:
		return fmt.Sprintf("%.2f %s is more than a hand can do", l.Max, unit)
	}
	return ""
}

// distance finds a way out to the distance from home that stays in the pen.
func (p *planner) distance(it *Item, most float64) {
	z, _ := p.hand(p.cfg.Ground, p.cfg.Ground+2)
	home := p.cfg.Home
	for k := range 16 {
		a := float64(k) * math.Pi / 8
		at := zones.XYZ{X: home.X + most*math.Cos(a), Y: home.Y + most*math.Sin(a), Z: z}
		w := zones.Sweep{From: at, To: at, Radius: p.cfg.Radius + p.cfg.Stopping.Margin + 0.4, Below: p.cfg.Height / 2, Above: p.cfg.Height / 2}
		if p.cfg.Zones.Clearance(&w).Clearance > 0 {
			it.at = at
			it.Text += fmt.Sprintf(", at about (%.1f, %.1f)", at.X, at.Y)
			return
		}
	}
	it.not("an edge of the pen comes first, everywhere")
}
