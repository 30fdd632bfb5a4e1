package sim

import (
	"math"
	"time"
)

// Pilot asks a vehicle for what it wants, never knowing the zones: keeping the
// vehicle in its pen is somebody else's work. now is simulation time.
type Pilot interface {
	Control(now time.Duration, s State) Control
}

// Course is a list of places to go to, in order, in a straight line each.
type Course struct {
	Points []Vec   // m, site frame; a rover takes no notice of Z
	Speed  float64 // m/s, between them
	Accel  float64 // m/s², how fast the asked speed changes; 1 where zero
	Loop   bool    // start again after the last
}

// reach is how near a point counts as reached, m.
const reach = 0.08

// leg walks along a course.
type leg struct {
	course Course
	next   int
}

// target is the point steered for; arrived says that nothing is left to do.
func (l *leg) target(p Vec, flat bool) (to Vec, arrived bool) {
	for range l.course.Points {
		if l.next >= len(l.course.Points) {
			break
		}
		to = l.course.Points[l.next].Sub(p)
		if flat {
			to = to.Flat()
		}
		if to.Len() > reach {
			return to, false
		}
		l.next++
		if l.course.Loop {
			l.next %= len(l.course.Points)
		}
	}
	return Vec{}, true
}

func (l *leg) accel() float64 {
	if l.course.Accel > 0 {
		return l.course.Accel
	}
	return 1
}

// last says that the point steered for is one to stop at.
func (l *leg) last() bool { return !l.course.Loop && l.next >= len(l.course.Points)-1 }

// Flight flies a multirotor along a course and hovers at its end.
type Flight struct {
	leg
	asked Vec
	begun bool
	then  time.Duration
}

// NewFlight makes a Flight.
func NewFlight(c Course) *Flight { return &Flight{leg: leg{course: c}} }

// Control steers for the next point.
func (f *Flight) Control(now time.Duration, s State) Control {
	if !f.begun {
		f.begun, f.asked, f.then = true, s.Velocity, now
	}
	h := (now - f.then).Seconds()
	f.then = now
	to, arrived := f.target(s.Position, false)
	want := Vec{}
	if d := to.Len(); !arrived {
		want = to.Mul(math.Min(f.course.Speed, math.Sqrt(2*0.5*f.accel()*d)) / d)
	}
	f.asked = f.asked.Add(want.Sub(f.asked).Clip(f.accel() * h))
	return Control{Mode: Drive, Velocity: f.asked}
}

// Driving drives a rover along a course and stands at its end.
type Driving struct{ leg }

// NewDriving makes a Driving.
func NewDriving(c Course) *Driving { return &Driving{leg{course: c}} }

// Control turns towards the next point and drives once it lies ahead.
func (d *Driving) Control(_ time.Duration, s State) Control {
	to, arrived := d.target(s.Position, true)
	if arrived {
		return Control{Mode: Drive}
	}
	off := wrap(math.Atan2(to.Y, to.X) - yawOf(s.Orientation))
	c := Control{Mode: Drive, Turn: 2.5 * off}
	if math.Abs(off) < 0.6 {
		c.Speed = d.course.Speed * math.Cos(off)
		if d.last() {
			c.Speed = math.Min(c.Speed, math.Sqrt(2*0.5*d.accel()*to.Len()))
		}
	}
	return c
}

// Phrase is one stretch of a Script.
type Phrase struct {
	For     time.Duration
	Control Control
}

// Script plays Controls one after the other from the moment it is first asked,
// and then asks for a stand-still.
type Script struct {
	phrases []Phrase
	begun   bool
	from    time.Duration
}

// NewScript makes a Script.
func NewScript(p ...Phrase) *Script { return &Script{phrases: p} }

// Control is the phrase of this moment.
func (p *Script) Control(now time.Duration, _ State) Control {
	if !p.begun {
		p.begun, p.from = true, now
	}
	at := now - p.from
	for _, ph := range p.phrases {
		if at < ph.For {
			return ph.Control
		}
		at -= ph.For
	}
	return Control{Mode: Drive}
}

// Rest is the pilot that asks for nothing: motors stay as they are on the
// ground, a hover stays where it is.
type Rest struct{}

// Control asks for a halt.
func (Rest) Control(time.Duration, State) Control { return Control{} }
