package zones

import "math"

// Set is a site's zones, checked and made ready. It does not change any more:
// any number of goroutines may ask it at once. The zero Set, and a nil *Set,
// allow nothing.
type Set struct {
	shapes []Shape
	pens   []pen
	outs   []keepOut
	field  field   // the boxes of outs
	scale  float64 // m, the largest coordinate, heights included
}

// Shapes are the zones in the order given to New, with repeated corners merged
// and closing corners dropped: Hit.Zone and Hit.Edge count in them. The slice
// is the Set's own and not to be written to (its answers would not change).
func (s *Set) Shapes() []Shape {
	if s == nil {
		return nil
	}
	return s.shapes
}

// Len is the number of zones.
func (s *Set) Len() int { return len(s.Shapes()) }

// nothing is the hit of a sweep about which nothing can be said, and of a site
// that allows nothing.
func nothing() Hit {
	return Hit{Clearance: math.Inf(-1), Zone: -1, Pen: true, Edge: -1}
}

// Clearance is the worst hit over the pen and all keep-outs. Of equals the pen
// comes first, then the keep-out with the lower index. A sweep that is not
// finite, beyond MaxQuery or of negative size: minus infinity.
func (s *Set) Clearance(w *Sweep) (worst Hit) {
	var q query
	if s == nil || !q.set(w) {
		return nothing()
	}
	s.judgePen(&q, &worst)
	if len(s.outs) > 0 {
		s.judgeOuts(&q, &worst)
	}
	return worst
}

// judgeOuts makes worst the hit of a keep-out where one is worse.
func (s *Set) judgeOuts(q *query, worst *Hit) {
	f := finder{set: s, q: q}
	f.begin(worst.Clearance)
	var h Hit
	for i := f.next(); i >= 0; i = f.next() {
		if s.outs[i].judge(q, worst.Clearance, &h) && h.before(worst) {
			*worst = h
			f.lower(h.Clearance)
		}
	}
}

// Judge appends the pen's hit, when its clearance is at most within metres, and
// that of every keep-out within the same, worst first. It allocates nothing
// while dst has room. A sweep about which nothing can be said has one hit: the
// pen's, minus infinity. A within that is not a number counts as infinite.
func (s *Set) Judge(w *Sweep, within float64, dst []Hit) []Hit {
	var q query
	if math.IsNaN(within) {
		within = math.Inf(1)
	}
	if s == nil || !q.set(w) {
		return append(dst, nothing())
	}
	first := len(dst)
	var h Hit
	if s.judgePen(&q, &h); h.Clearance <= within {
		dst = append(dst, h)
	}
	f := finder{set: s, q: &q}
	f.begin(within)
	for i := f.next(); i >= 0; i = f.next() {
		if s.outs[i].judge(&q, within, &h) {
			dst = append(dst, h)
			sink(dst[first:])
		}
	}
	return dst
}

// sink moves the last hit forward to its place: by clearance, of equals the pen
// first, then by zone.
func sink(h []Hit) {
	for i := len(h) - 1; i > 0 && h[i].before(&h[i-1]); i-- {
		h[i], h[i-1] = h[i-1], h[i]
	}
}

func (h *Hit) before(o *Hit) bool {
	return h.Clearance < o.Clearance || h.Clearance == o.Clearance && !o.Pen && (h.Pen || h.Zone < o.Zone)
}

// judgePen is the hit of the pen as a whole: of its parts that do not hang
// together the body needs to be inside one.
func (s *Set) judgePen(q *query, best *Hit) {
	switch len(s.pens) {
	case 0:
		*best = nothing()
		return
	case 1:
		s.pens[0].judge(q, best)
		return
	}
	// The likeliest first: the others then need but a look at their boxes.
	first, most := 0, math.Inf(-1)
	for i := range s.pens {
		if m := s.pens[i].most(q); m > most {
			first, most = i, m
		}
	}
	s.pens[first].judge(q, best)
	var h Hit
	for i := range s.pens {
		if i == first || s.pens[i].most(q) <= best.Clearance {
			continue
		}
		if s.pens[i].judge(q, &h); h.Clearance > best.Clearance {
			*best = h
		}
	}
}

// Inside tells whether a bare point is strictly inside the pen and strictly
// outside every keep-out. On the line is outside.
func (s *Set) Inside(p XYZ) bool {
	h := s.Clearance(&Sweep{From: p, To: p})
	return h.Clearance > 0
}

// measure notes how large the site is.
func (s *Set) measure() {
	for i := range s.shapes {
		z := &s.shapes[i]
		s.scale = max(s.scale, math.Abs(z.Floor), math.Abs(z.Ceiling))
		for _, r := range z.Rings {
			for _, v := range r {
				s.scale = max(s.scale, math.Abs(v.X), math.Abs(v.Y))
			}
		}
	}
}
