package rehearse

import (
	"fmt"
	"io"
	"time"

	"pinfold/sim"
	"pinfold/sim/judge"
	"pinfold/watchdog"
)

// notice is what one guard says of its vehicle, on its way to another.
type notice struct {
	due   time.Duration
	reach watchdog.OtherReach
}

// pairRig is one run of two vehicles. Their guards know of each other only what
// notices carry.
type pairRig struct {
	c     *PairCase
	one   [2]*rig
	told  [2][]notice // to the guard of that vehicle, in order
	jit   jitter
	apart *judge.Apart
	met   bool // both have the start they need
	res   PairResult
}

// RunPair makes the run of a case of two vehicles.
func RunPair(c *PairCase, opt Options) (PairResult, error) {
	p := &pairRig{c: c, jit: newJitter(c.Seed ^ 0x70616972), res: PairResult{Seed: c.Seed, Meeting: c.Meeting.String(), met: c.Meeting, First: -1}}
	var err error
	if p.apart, err = judge.NewApart(bodyOf(c.Of[0]), bodyOf(c.Of[1]), c.Distance); err != nil {
		return p.res, fmt.Errorf("rehearse: seed %d: %w", c.Seed, err)
	}
	for i := range p.one {
		o := opt
		if opt.Trace != nil {
			o.Trace = &named{out: opt.Trace, name: c.Of[i].Config.Vehicle}
		}
		if p.one[i], err = newRig(c.Of[i], o); err != nil {
			return p.res, fmt.Errorf("rehearse: seed %d: %w", c.Seed, err)
		}
	}
	p.connect()
	p.run()
	return p.res, nil
}

// named puts a vehicle's name before each line.
type named struct {
	out  io.Writer
	name string
	mid  bool // in the middle of a line
}

func (n *named) Write(b []byte) (int, error) {
	if !n.mid {
		fmt.Fprintf(n.out, "%-8s", n.name)
	}
	n.mid = len(b) > 0 && b[len(b)-1] != '\n'
	return n.out.Write(b)
}

// connect lets each pilot see the other vehicle, and each guard hear of it.
func (p *pairRig) connect() {
	for i, r := range p.one {
		o, pilot := p.one[1-i], &p.c.pilots[i]
		r.parks = pilot.role == stands
		flies := r.c.Config.Kind == watchdog.Multirotor
		r.wish = func(s *sim.State, t, called time.Duration) sim.Vec {
			other := o.plant.State()
			return pilot.want(&r.c.Pilot, r.c.Pilot.want(t, called), s, &other, flies, r.called >= 0 || o.called >= 0)
		}
		r.told = func(now time.Duration) { p.tell(i, r.guard.ForOthers(now), now) }
	}
}

// tell sends what the guard of vehicle from says to the other's.
func (p *pairRig) tell(from int, o watchdog.OtherReach, now time.Duration) {
	i, soon := 1-from, p.c.Soon[from]
	due := now + soon + time.Duration(float64(p.c.Late[from]-soon)*p.jit.share())
	if n := len(p.told[i]); n > 0 {
		due = max(due, p.told[i][n-1].due)
	}
	p.told[i] = append(p.told[i], notice{due, o})
}

func (p *pairRig) run() {
	for _, r := range p.one {
		r.step(&watchdog.Event{Kind: watchdog.EvTick}, 0)
	}
	for !p.ended() {
		p.tick()
	}
	v := p.apart.Verdict()
	p.res.Started = p.met && v.Looks > 0
	p.res.Closest, p.res.At, p.res.Near = v.Closest, v.At, p.met && !v.Kept()
	p.res.Short = max(0, p.c.Distance-v.Closest)
	for i, r := range p.one {
		r.look(true)
		s := r.judge.Verdict(true)
		p.res.Left = p.res.Left || p.met && !s.Stayed()
		p.res.Rested[i], p.res.Causes[i] = r.res.Rested || r.parks, r.res.Cause
		p.res.Length = max(p.res.Length, r.now)
		p.res.Hash.add(r.hash.sums())
		r.tell("ends %.4f m apart, the closest was %.4f m at %v, %.4f m are declared", p.gap(), v.Closest, v.At, p.c.Distance)
	}
}

// ended says whether there is nothing more to see: both rest, or the time is up,
// or there is no start to be had.
func (p *pairRig) ended() bool {
	a, b := p.one[0], p.one[1]
	if !p.met {
		p.met = p.ready()
		if !p.met {
			return a.now > noStart || a.called >= 0 || b.called >= 0 || a.room <= 0 || b.room <= 0
		}
	}
	return (a.parks || a.res.Rested) && (b.parks || b.res.Rested) || a.now >= a.c.Most
}

// ready says whether every vehicle that is to move has its start, and none has
// been stopped again.
func (p *pairRig) ready() bool {
	for _, r := range p.one {
		if !r.parks && (!r.res.Started || r.called >= 0) {
			return false
		}
	}
	return true
}

// tick moves both by one Tick, and steps both guards in the order of time.
func (p *pairRig) tick() {
	var end time.Duration
	for _, r := range p.one {
		end = r.move()
	}
	for {
		i, at := p.first()
		if at > end {
			break
		}
		p.advance(i, at)
	}
	had := p.res.First
	for i, r := range p.one {
		r.watch(end)
		if r.res.Cause != "apart" || p.res.For[i] || r.value >= watchdog.Unbounded {
			continue // for a reason of its own, or since nobody told it where the other is
		}
		if p.res.For[i] = true; p.res.First < 0 {
			p.res.First = i
		}
	}
	if first := p.res.First; had < 0 && first >= 0 {
		o := p.one[1-first]
		p.res.Free = !o.parks && o.called < 0
	}
	if p.met = p.met || p.ready(); p.met {
		a, b := p.one[0].plant.State().Position, p.one[1].plant.State().Position
		p.apart.Look(end, judge.Point{a.X, a.Y, a.Z}, judge.Point{b.X, b.Y, b.Z})
	}
}

// next is the next instant at which guard i is to be stepped.
func (p *pairRig) next(i int) time.Duration {
	at := p.one[i].next()
	if n := p.told[i]; len(n) > 0 && n[0].due < at {
		return n[0].due
	}
	return at
}

// first is the guard that is to be stepped next, and when.
func (p *pairRig) first() (int, time.Duration) {
	a, b := p.next(0), p.next(1)
	if b < a {
		return 1, b
	}
	return 0, a
}

// advance steps guard i at that instant: by what it was told, where that is due.
func (p *pairRig) advance(i int, at time.Duration) {
	r := p.one[i]
	if n := p.told[i]; len(n) > 0 && n[0].due == at && r.next() > at {
		ev := watchdog.Event{Kind: watchdog.EvOther, Arrived: at, Other: n[0].reach}
		p.told[i] = append(n[:0], n[1:]...)
		r.step(&ev, at)
		r.start(at)
		return
	}
	r.advance()
}

// gap is how far the two bodies truly are apart, m.
func (p *pairRig) gap() float64 {
	a, b := p.one[0].plant.State().Position, p.one[1].plant.State().Position
	return judge.Gap(bodyOf(p.c.Of[0]), bodyOf(p.c.Of[1]), judge.Point{a.X, a.Y, a.Z}, judge.Point{b.X, b.Y, b.Z})
}
