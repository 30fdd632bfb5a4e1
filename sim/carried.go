package sim

import (
	"math"
	"sync"
	"time"
)

// Carried is a vehicle in a person's hands, its motors off: it goes where the
// person goes, whatever it is told. Its own methods may be called from any
// goroutine.
type Carried struct {
	body Body

	mu    sync.Mutex
	state State
	way   []Vec   // places to go to, in straight lines; the last is kept
	speed float64 // m/s, at most
	lean  float64 // rad, asked for
	leans float64 // rad, now
}

// How a person moves (common practice, no source).
const (
	handAccel = 2.0 // m/s²
	handLean  = 1.5 // rad/s
	handTurn  = 0.2 // m, how near to a place a person turns for the next
)

// NewCarried puts a body into hands at p.
func NewCarried(body Body, p Vec) *Carried {
	return &Carried{body: body, way: []Vec{p}, state: State{Position: p, Orientation: Yawed(0)}}
}

// Walk carries it to one place after the other in straight lines, at most at
// speed m/s, and holds it at the last.
func (c *Carried) Walk(speed float64, way ...Vec) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.way, c.speed = append([]Vec{}, way...), speed
}

// Lean tilts it by so much, rad.
func (c *Carried) Lean(angle float64) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.lean = angle
}

// Body is the room it fills.
func (c *Carried) Body() Body { return c.body }

// State is the truth now.
func (c *Carried) State() State {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.state
}

// Step moves the person on by dt. What the vehicle is told makes no difference.
func (c *Carried) Step(dt time.Duration, _ Control) State {
	c.mu.Lock()
	defer c.mu.Unlock()
	h, s := dt.Seconds(), &c.state
	for len(c.way) > 1 && c.way[0].Sub(s.Position).Len() < handTurn {
		c.way = c.way[1:]
	}
	way := c.way[0].Sub(s.Position)
	want := Vec{}
	if d := way.Len(); d > 1e-4 {
		speed := c.speed
		if len(c.way) == 1 {
			speed = math.Min(speed, math.Sqrt(2*0.8*handAccel*d))
		}
		want = way.Mul(speed / d)
	}
	before := s.Velocity
	s.Velocity = before.Add(want.Sub(before).Clip(handAccel * h))
	step := before.Add(s.Velocity).Mul(h / 2)
	s.Position = s.Position.Add(step)
	s.Acceleration = s.Velocity.Sub(before).Mul(1 / h)
	s.Travelled += step.Len()
	c.leans += clamp(c.lean-c.leans, -handLean*h, handLean*h)
	s.Orientation = about(Vec{X: 1}, c.leans)
	return *s
}
