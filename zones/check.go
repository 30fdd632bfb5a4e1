package zones

import (
	"fmt"
	"math"
	"strings"
)

// checker gathers what is wrong with a list of shapes. Whatever it lets pass
// is valid in the sense of OGC Simple Features, with two things stricter: a
// ring may not touch itself, and corners closer together than nothing, that is
// repeated ones, are merged.
type checker struct {
	found []Problem
	solid []*polygon // of each shape, where nothing is wrong with its rings
}

// add notes a problem, up to MaxProblems.
func (c *checker) add(p Problem) {
	switch n := len(c.found); {
	case n < MaxProblems-1:
		c.found = append(c.found, p)
	case n == MaxProblems-1:
		c.found = append(c.found, Problem{Shape: -1, Ring: -1, Vertex: -1, Fault: TooMuch,
			Says: fmt.Sprintf("there are more problems than the %d shown", MaxProblems-1),
			Try:  "mend these and check again"})
	}
}

// full tells whether further problems would go unseen.
func (c *checker) full() bool { return len(c.found) >= MaxProblems }

// shapes checks all shapes and returns them cleaned.
func (c *checker) shapes(in []Shape) []Shape {
	if !c.counts(in) {
		return nil
	}
	out := make([]Shape, len(in))
	c.solid = make([]*polygon, len(in))
	first := make(map[string]int, len(in))
	for i := range in {
		if c.full() {
			break
		}
		p := Problem{Shape: i, Name: in[i].Name, Ring: -1, Vertex: -1}
		c.head(&in[i], p)
		if j, ok := first[in[i].Name]; ok && in[i].Name != "" {
			p.Fault, p.Says = DuplicateName, fmt.Sprintf("zone number %d has the same name", j+1)
			p.Try = "give every zone a name of its own"
			c.add(p)
		} else {
			first[in[i].Name] = i
		}
		out[i] = in[i]
		out[i].Name = strings.Clone(in[i].Name)
		out[i].Vehicles = append([]string(nil), in[i].Vehicles...)
		out[i].Rings, c.solid[i] = c.rings(&in[i], p)
	}
	return out
}

// counts checks the bounds on numbers of things, before anything is built.
func (c *checker) counts(in []Shape) bool {
	p := Problem{Shape: -1, Ring: -1, Vertex: -1, Fault: TooMuch}
	if len(in) > MaxZones {
		p.Says = fmt.Sprintf("%d zones, at most %d are taken", len(in), MaxZones)
		p.Try = "leave zones out, or join neighbours into one polygon"
		c.add(p)
		return false
	}
	total := 0
	for i := range in {
		n := 0
		for _, r := range in[i].Rings {
			n += len(open(r))
		}
		total += n
		p := Problem{Shape: i, Name: in[i].Name, Ring: -1, Vertex: -1, Fault: TooMuch}
		if n > MaxVertices {
			p.Says = fmt.Sprintf("%d corners, at most %d are taken", n, MaxVertices)
			p.Try = "simplify the outline"
			c.add(p)
		}
		if len(in[i].Rings) > MaxRings {
			p.Says = fmt.Sprintf("%d rings, at most %d are taken", len(in[i].Rings), MaxRings)
			p.Try = "make holes into keep-out zones of their own, or leave small ones out"
			c.add(p)
		}
	}
	if total > MaxTotal {
		p.Says = fmt.Sprintf("%d corners in all, at most %d are taken", total, MaxTotal)
		p.Try = "simplify the outlines"
		c.add(p)
	}
	return len(c.found) == 0
}

// open is the ring without the corner that closes it, if it is closed.
func open(r []XY) []XY {
	if n := len(r) - 1; n > 0 && r[0] == r[n] {
		return r[:n]
	}
	return r
}

// head checks what is not a ring.
func (c *checker) head(s *Shape, p Problem) {
	say := func(f Fault, says, try string) {
		p.Fault, p.Says, p.Try = f, says, try
		c.add(p)
	}
	if strings.TrimSpace(s.Name) == "" {
		say(BadName, "it has no name", "give it a name")
	} else if len(s.Name) > MaxName {
		say(BadName, fmt.Sprintf("its name has %d bytes, at most %d are taken", len(s.Name), MaxName), "shorten it")
	}
	if s.Kind != KeepIn && s.Kind != KeepOut {
		say(NoKind, "it is neither keep-in nor keep-out", `set kind to "keep-in" or "keep-out"`)
	}
	fine := true
	for k, v := range [2]float64{s.Floor, s.Ceiling} {
		what := [2]string{"floor", "ceiling"}[k]
		if math.IsNaN(v) || math.IsInf(v, 0) {
			say(NotFinite, fmt.Sprintf("its %s is %g, which is not a height", what, v), "give it in metres")
			fine = false
		} else if math.Abs(v) > MaxCoordinate {
			say(TooFar, fmt.Sprintf("its %s is %g m, beyond %g m", what, v, MaxCoordinate), "give it in metres in the site frame")
			fine = false
		}
	}
	if fine && !(s.Ceiling > s.Floor) {
		say(BadBand, fmt.Sprintf("its ceiling (%g m) is not above its floor (%g m)", s.Ceiling, s.Floor), "swap or mend the two")
	}
}

// ring is a ring being checked: its corners after merging, and where each was.
type ring struct {
	at  []XY
	was []int32
	ok  bool
}

// rings checks the rings of a shape one by one and against each other. It
// returns them cleaned, and the polygon they make where nothing is wrong.
func (c *checker) rings(s *Shape, p Problem) ([][]XY, *polygon) {
	if len(s.Rings) == 0 {
		p.Fault, p.Says, p.Try = TooFewPoints, "it has no outline", "give it an outer ring of at least three corners"
		c.add(p)
		return nil, nil
	}
	list := make([]ring, len(s.Rings))
	out := make([][]XY, len(s.Rings))
	for k, r := range s.Rings {
		p.Ring = k
		list[k] = c.ring(r, p)
		out[k] = list[k].at
	}
	r := relate{c: c, p: p, rings: list}
	return out, r.check()
}

// ring merges repeated corners and checks what can be seen corner by corner.
func (c *checker) ring(in []XY, p Problem) ring {
	r := ring{ok: true}
	say := func(i int, f Fault, says, try string) {
		p.Vertex, p.Fault, p.Says, p.Try, r.ok = i, f, says, try, false
		p.At = XY{}
		if i >= 0 {
			p.At = in[i]
		}
		c.add(p)
	}
	for i, v := range in {
		if !(math.Abs(v.X) <= math.MaxFloat64 && math.Abs(v.Y) <= math.MaxFloat64) {
			say(i, NotFinite, "a coordinate is not a number", "give both in metres")
			continue
		}
		if math.Abs(v.X) > MaxCoordinate || math.Abs(v.Y) > MaxCoordinate {
			say(i, TooFar, fmt.Sprintf("it is more than %g m from the origin", MaxCoordinate), "give metres in the site frame, with an origin on the site")
		}
		v = XY{v.X + 0, v.Y + 0} // no minus zero
		if n := len(r.at); n == 0 || r.at[n-1] != v {
			r.at, r.was = append(r.at, v), append(r.was, int32(i))
		}
	}
	for n := len(r.at); n > 1 && r.at[n-1] == r.at[0]; n = len(r.at) {
		r.at, r.was = r.at[:n-1], r.was[:n-1]
	}
	if !r.ok {
		return r
	}
	if n := len(r.at); n < 3 {
		say(-1, TooFewPoints, fmt.Sprintf("it has %d different corners", n), "give it at least three")
		return r
	}
	if r.straight() {
		say(-1, ZeroArea, "all its corners lie on one line, so it has no area", "add a corner off the line, or leave it out")
		return r
	}
	c.spikes(&r, say)
	return r
}

// straight tells, exactly, whether all corners lie on one line.
func (r *ring) straight() bool {
	a, b := r.at[0], r.at[1]
	for _, v := range r.at[2:] {
		if orient(a.X, a.Y, b.X, b.Y, v.X, v.Y) != 0 {
			return false
		}
	}
	return true
}

// spikes finds corners at which the ring turns back along itself.
func (c *checker) spikes(r *ring, say func(int, Fault, string, string)) {
	n := len(r.at)
	for i, v := range r.at {
		a, b := r.at[(i+n-1)%n], r.at[(i+1)%n]
		if sameWay(v.X, v.Y, a.X, a.Y, b.X, b.Y) {
			say(int(r.was[i]), Spike, "the ring runs back along itself here", "remove this corner")
		}
	}
}
