package rehearse

import (
	"math"
	"time"

	"pinfold/sim"
	"pinfold/watchdog"
)

// Meeting is how two vehicles come near one another.
type Meeting uint8

// The meetings.
const (
	HeadOn   Meeting = iota // at each other
	Crossing                // across each other's way
	Chase                   // one behind the other, faster
	Circle                  // one round the other, nearer and nearer
	Parked                  // one stands, and was never started
	InTheWay                // one is stopped by its own pen, in the other's way
	Stacked                 // one above the other; at least one flies
	Meetings
)

// String gives the meeting's word.
func (m Meeting) String() string {
	return word(int(m), "head on", "crossing", "chase", "circle", "parked", "in the way", "stacked")
}

// role is how one of two is driven.
type role uint8

const (
	keeps   role = iota // as its own pilot would
	hunts               // at the other, wherever that is
	circles             // round the other, and nearer
	stands              // not at all
)

// pilotOf is who drives one of two.
type pilotOf struct {
	role  role
	surge bool    // once a stop is called, of either, it asks for all there is, at the other
	close float64 // rad, by how much a circle closes
}

// want is the velocity asked for, m/s, of the vehicle at me whose own pilot asks
// for on; late says that a stop has been called, of either.
func (p *pilotOf) want(q *Pilot, on sim.Vec, me, other *sim.State, flies, late bool) sim.Vec {
	to := other.Position.Sub(me.Position)
	if !flies {
		to = to.Flat()
	}
	l := to.Len()
	if l == 0 {
		return on
	}
	to = to.Mul(1 / l)
	switch {
	case p.surge && late:
		return to.Mul(q.Full)
	case p.role == hunts:
		return to.Mul(q.Speed)
	case p.role == circles:
		return rotated(to, math.Pi/2-p.close).Mul(q.Speed)
	}
	return on
}

// drawMeeting draws a meeting that suits the two, and who drives.
func (c *PairCase) drawMeeting(rng *dice) {
	flying := 0
	for _, v := range c.Of {
		if v.Config.Kind == watchdog.Multirotor {
			flying++
		}
	}
	most := int(Meetings)
	if flying == 0 {
		most-- // nothing can be above
	}
	c.Meeting = Meeting(rng.IntN(most))
	if flying > 0 && rng.IntN(4) == 0 {
		c.Meeting = Stacked
	}
	who := rng.IntN(2) // the one that does what the meeting is named for
	for i := range c.pilots {
		c.pilots[i] = pilotOf{surge: rng.IntN(3) > 0}
	}
	p := &c.pilots[who]
	switch c.Meeting {
	case Chase:
		p.role = hunts
	case Circle:
		p.role, p.close = circles, span(rng, 0.1, 0.9)
		if rng.IntN(2) == 0 {
			c.pilots[1-who].role = stands
		}
	case Parked:
		c.pilots[1-who].role = stands
		p.role = role(rng.IntN(2)) // straight, or hunting
	case InTheWay:
		p.role = hunts
	case Stacked:
		if c.Of[who].Config.Kind != watchdog.Multirotor {
			who = 1 - who
		}
		p = &c.pilots[who]
		p.role = role(rng.IntN(2))
		if rng.IntN(2) == 0 {
			c.pilots[1-who].role = stands
		}
	}
	c.lead = who
}

// stage puts the two where they are on their way to each other: false where
// there is no room for it.
func (c *PairCase) stage(rng *dice, pens [2]*pen) bool {
	a, b, ok := c.meetingPoints(rng, pens)
	if !ok {
		return false
	}
	at := [2]sim.Vec{a, b}
	c.beside(rng, &at)
	dirs := c.directions(rng)
	for i, v := range c.Of {
		v.drive(rng, dirs[i], c.pilots[i].role == stands)
	}
	if c.Meeting == Chase && c.pilots[c.lead].role == hunts { // the one in front is slower
		f := &c.Of[1-c.lead].Pilot
		f.Speed = math.Min(f.Speed, c.Of[c.lead].Pilot.Speed*span(rng, 0, 0.8))
		c.Of[1-c.lead].Speed = f.Dir.Mul(f.Speed)
	}
	room := c.room(rng)
	for i, v := range c.Of {
		v.At = at[i].Sub(dirs[i].Mul(room * c.share(i)))
		if v.Config.Kind == watchdog.Rover {
			v.At.Z = v.Pen.Below
		}
	}
	if c.Meeting == InTheWay && !c.Of[1-c.lead].place(rng, pens[1-c.lead], false) {
		return false
	}
	if c.Meeting == InTheWay {
		c.behind(rng)
	}
	for i, v := range c.Of {
		v.At.Z = math.Max(v.At.Z, v.Pen.Below)
		if !v.fits(pens[i]) {
			return false
		}
	}
	c.face()
	return true
}

// share is how much of the room between the two lies before one of them: as it
// is fast; none of it before one that stands or is chased.
func (c *PairCase) share(i int) float64 {
	if c.Meeting == Chase {
		if i == c.lead {
			return 1
		}
		return 0
	}
	mine, other := c.Of[i].Speed.Len(), c.Of[1-i].Speed.Len()
	if mine+other == 0 {
		return 0.5
	}
	return mine / (mine + other)
}

// directions are where the two are headed, unit vectors.
func (c *PairCase) directions(rng *dice) (d [2]sim.Vec) {
	d[0] = unit(rng, false)
	turn := math.Pi + span(rng, -0.3, 0.3)*float64(rng.IntN(2))
	switch c.Meeting {
	case Crossing:
		turn = math.Copysign(span(rng, 0.5, 2.6), rng.Float64()-0.5)
	case Chase:
		turn = span(rng, -0.3, 0.3)
	}
	d[1] = rotated(d[0], turn)
	for i, v := range c.Of {
		if v.Config.Kind != watchdog.Multirotor {
			continue
		}
		if c.Meeting == Stacked {
			up := 1.0
			if i == c.lead {
				up = -1
			}
			d[i] = norm(sim.Vec{Z: up}.Add(unit(rng, false).Mul(span(rng, 0, 0.6))))
		} else if rng.IntN(3) == 0 {
			d[i] = norm(d[i].Add(sim.Vec{Z: span(rng, -0.4, 0.4)}))
		}
	}
	return d
}

// drive gives a vehicle its direction and speed.
func (c *Case) drive(rng *dice, dir sim.Vec, still bool) {
	most := c.fastest()
	q := Pilot{Kind: Straight, Dir: dir, Out: dir, Speed: most * span(rng, 0.05, 1), Full: 3 * most,
		After: c.warm(), Every: duration(rng, 60*ms, 500*ms), Swing: span(rng, 0.1, 1)}
	if rng.IntN(2) == 0 {
		q.Speed = math.Min(most, 1.5) // as fast as most drive
	}
	if rng.IntN(6) == 0 {
		q.Kind = Zigzag
	}
	if dir.Z != 0 {
		q.Speed = math.Min(q.Speed, c.vertically(dir.Z > 0)/math.Abs(dir.Z))
	}
	v := q.Speed
	if rng.IntN(3) == 0 {
		v *= rng.Float64() // it is still gaining speed
	}
	if still {
		v = 0
	}
	c.Pilot, c.Speed = q, dir.Mul(v)
}

// room is how far apart the two centres are to begin with, m: what they are to
// keep, what both need until rest, and a little way to go.
func (c *PairCase) room(rng *dice) float64 {
	room := c.Distance + math.Max(c.ahead[0], c.ahead[1])
	for _, v := range c.Of {
		s, speed := &v.Config.Stopping, v.Speed.Len()
		room += v.Config.Radius + s.Margin + s.PositionErr + stopping(&v.Config, speed) +
			speed*(watchdog.OtherFor+v.warm()).Seconds() + speed*span(rng, 0.02, 0.4)
	}
	return room
}

// behind puts the hunter where the other, that is going at its pen's edge, lies
// in its way.
func (c *PairCase) behind(rng *dice) {
	h, e := c.Of[c.lead], c.Of[1-c.lead]
	from := rotated(e.Pilot.Dir.Mul(-1).Flat(), span(rng, -1.3, 1.3))
	if from.Len() == 0 {
		from = unit(rng, false)
	}
	from = norm(from)
	h.At = e.At.Add(from.Mul(c.room(rng)))
	h.At.Z = math.Max(e.At.Z+span(rng, -0.2, 0.2), h.Pen.Below)
	if h.Config.Kind == watchdog.Rover {
		h.At.Z = h.Pen.Below
	}
	h.drive(rng, from.Mul(-1), false)
}

// face has each take the other for what it leaves by, so that the errors of its
// tracker can be turned away from it.
func (c *PairCase) face() {
	for i, v := range c.Of {
		to := c.Of[1-i].At.Sub(v.At)
		if v.Config.Kind == watchdog.Rover {
			to = to.Flat()
		}
		if to.Len() > 0 {
			v.Pilot.Out = norm(to)
		}
		if v.Config.Kind == watchdog.Rover && v.Speed.Len() == 0 && c.pilots[i].role != stands {
			v.Pilot.Dir = v.Pilot.Out.Flat()
		}
	}
}

// meetingPoints are two points to meet at, one in each pen: the same one where
// there is one in both.
func (c *PairCase) meetingPoints(rng *dice, pens [2]*pen) (a, b sim.Vec, ok bool) {
	const draws = 12
	best := math.Inf(1)
	for range draws {
		p, fine := c.Of[0].somewhere(rng, pens[0])
		if !fine {
			continue
		}
		q := p
		if c.Of[1].Config.Kind == watchdog.Rover {
			q.Z = c.Of[1].Pen.Below
		}
		if !(pens[1].room(q) > 0) {
			if q, fine = c.Of[1].somewhere(rng, pens[1]); !fine {
				continue
			}
		}
		if d := p.Sub(q).Flat().Len(); d < best {
			a, b, best, ok = p, q, d, true
		}
		if best == 0 {
			break
		}
	}
	return a, b, ok
}

// somewhere is a place of the vehicle's centre in its pen.
func (c *Case) somewhere(rng *dice, p *pen) (sim.Vec, bool) {
	for range maxTries {
		r := &p.judged.Inside[rng.IntN(len(p.judged.Inside))]
		corner, m := r.Outer[rng.IntN(len(r.Outer))], middle(r.Outer)
		next := r.Outer[rng.IntN(len(r.Outer))]
		f, g := rng.Float64(), rng.Float64()*0.5
		at := sim.Vec{X: m[0] + f*(corner[0]-m[0]) + g*(next[0]-m[0]), Y: m[1] + f*(corner[1]-m[1]) + g*(next[1]-m[1]), Z: c.Pen.Below}
		if c.Config.Kind == watchdog.Multirotor {
			at.Z = span(rng, math.Max(r.Floor, 0)+c.Pen.Below, math.Max(r.Ceiling-c.Pen.Above, c.Pen.Below+0.01))
		}
		if p.room(at) > 0 {
			return at, true
		}
	}
	return sim.Vec{}, false
}

// beside puts one that flies as high as one that drives, or so little above it
// that the two are too near, where they are not to meet from above.
func (c *PairCase) beside(rng *dice, at *[2]sim.Vec) {
	if c.Meeting == Stacked || c.Of[0].Config.Kind == c.Of[1].Config.Kind {
		return
	}
	f := 0
	if c.Of[1].Config.Kind == watchdog.Multirotor {
		f = 1
	}
	drives, flies := c.Of[1-f], c.Of[f]
	top := at[1-f].Z + drives.Pen.Above + flies.Pen.Below + 0.7*c.Distance
	at[f].Z = span(rng, flies.Pen.Below, math.Max(top, flies.Pen.Below+0.01))
}

// toldLate draws how late, at least and at most, a guard hears of the other:
// soon, or anything for as long as what it hears holds, or always so late that
// it just holds.
func (c *Case) toldLate(rng *dice) (least, most time.Duration) {
	switch rng.IntN(4) {
	case 0:
		return 0, duration(rng, 0, 10*ms)
	case 1:
		return 0, duration(rng, 0, watchdog.OtherFor-10*ms)
	}
	most = max(0, watchdog.OtherFor-time.Duration(span(rng, 1.2, 5)*float64(c.Truth.Eye.Period)))
	return most, most
}
