package zones

import "math"

// Last is what a caller keeps from one judgement of a body for the next, so
// that what was far away need not be looked at again while the body has not
// come that far. It changes no answer, only how long it takes: any Last will
// do, of another body or of another Set too. The zero Last knows nothing. It is
// for one goroutine at a time, and a copy of it is as good.
type Last struct {
	set     *Set
	zones   *Shape  // the first of set's: another one where set was overwritten
	then    stance  // when the subjects were listed
	beyond  float64 // m, no keep-out but those listed was nearer
	n       int
	subject [lastMost + 1]lasting // nearest first
	wait    int                   // calls until it is worth another try
	newest  stance                // when a clearance was asked for last
	least   float64               // m, what it was at least; minus infinity for one that was not positive
}

// stance is a body as it was when it was judged: see query.
type stance struct {
	x0, y0, x1, y1 float64 // m
	r, wide        float64 // m, the radius at the start and at the end
	zlo, zhi, size float64 // m
}

func (q *query) stance(scale float64) stance {
	return stance{x0: q.x0, y0: q.y0, x1: q.x1, y1: q.y1, r: q.r, wide: q.r + q.g, zlo: q.zlo, zhi: q.zhi, size: q.size + scale}
}

// lasting is the pen (-1) or a keep-out, and a clearance that it had at least.
type lasting struct {
	least float64
	out   int32
}

const (
	// lastMost is how many keep-outs a Last knows one by one.
	lastMost = 5
	// lastWait is how many calls go by without one where it would not help.
	lastWait = 32
	// lastPad times the largest coordinate is far above what rounding does to a
	// clearance.
	lastPad = 1e-10
)

// ClearanceAfter is Clearance, and the same bit for bit, for a body that is
// asked about again and again: the less it has moved, turned and grown since
// the call before with the same last, the sooner. A nil last is taken.
func (s *Set) ClearanceAfter(w *Sweep, last *Last) (worst Hit) {
	var q query
	if s == nil || !q.set(w) {
		return nothing()
	}
	known := last != nil && last.of(s)
	if known && last.clearance(&q, &worst) {
		last.stood(s, &q, &worst)
		return worst
	}
	s.judgePen(&q, &worst)
	if len(s.outs) > 0 {
		s.judgeOuts(&q, &worst)
	}
	switch {
	case last == nil || len(s.shapes) == 0:
		return worst
	case known && last.wait > 0:
		last.wait--
	case !known || len(s.outs) > 0:
		last.note(s, &q, &worst)
	}
	last.stood(s, &q, &worst)
	return worst
}

// Beyond says that the body is further than within, m, from all that it must
// keep clear of, where that follows from what was asked with last before: it has
// not moved, turned and grown enough since to be as near. Where it says no,
// ClearanceAfter has to be asked. A within below zero is taken as zero.
func (s *Set) Beyond(w *Sweep, within float64, last *Last) bool {
	var q query
	if s == nil || last == nil || !last.of(s) || !q.stand(w) {
		return false
	}
	return last.least-last.newest.moved(&q) > max(within, 0) // not for a within that is no number
}

// stood remembers how clear a body was of everything.
func (l *Last) stood(s *Set, q *query, worst *Hit) {
	l.newest, l.least = q.stance(s.scale), sound(worst.Clearance)
}

// JudgeAfter is Judge, and the same bit for bit, with what ClearanceAfter has
// left in last.
func (s *Set) JudgeAfter(w *Sweep, within float64, dst []Hit, last *Last) []Hit {
	var q query
	if s == nil || last == nil || !last.of(s) || !q.set(w) {
		return s.Judge(w, within, dst)
	}
	moved := last.then.moved(&q)
	if !(last.beyond-moved > max(within, 0)) { // not for a within that is no number
		return s.Judge(w, within, dst)
	}
	first := len(dst)
	var h Hit
	for _, k := range last.subject[:last.n] {
		if k.least-moved > max(within, 0) {
			break
		}
		if k.out < 0 {
			s.judgePen(&q, &h)
		} else if !s.outs[k.out].judge(&q, within, &h) {
			continue
		}
		if h.Clearance <= within {
			dst = append(dst, h)
			sink(dst[first:])
		}
	}
	return dst
}

// of tells whether what is known is of this Set, as it is now: a Set kept by
// value may have been overwritten by another, at the same address.
func (l *Last) of(s *Set) bool {
	return l.set == s && len(s.shapes) > 0 && l.zones == &s.shapes[0]
}

// clearance is Set.Clearance where what is known is enough for it.
func (l *Last) clearance(q *query, worst *Hit) bool {
	moved := l.then.moved(q)
	if !(l.beyond-moved > 0) {
		return false
	}
	worst.Clearance = math.Inf(1)
	var h Hit
	for _, k := range l.subject[:l.n] {
		if k.least-moved > max(worst.Clearance, 0) {
			break
		}
		if k.out < 0 {
			if l.set.judgePen(q, &h); h.Clearance <= worst.Clearance {
				*worst = h
			}
		} else if l.set.outs[k.out].judge(q, worst.Clearance, &h) && h.before(worst) {
			*worst = h
		}
	}
	return l.beyond-moved > max(worst.Clearance, 0)
}

// moved bounds, from above, by how much a clearance that was positive can be
// less, as long as it stays so: no point of the body is further than that from
// where one was. (A negative one may be given deeper than it is, see the
// package, by an amount that differs.)
func (l *stance) moved(q *query) float64 {
	ax, ay, bx, by := q.x0-l.x0, q.y0-l.y0, q.x1-l.x1, q.y1-l.y1
	way := math.Sqrt(max(float64(ax*ax)+float64(ay*ay), float64(bx*bx)+float64(by*by)))
	pad := float64(lastPad * (l.size + q.size + math.Abs(q.zlo) + math.Abs(q.zhi)))
	return way + max(0, q.r-l.r, q.r+q.g-l.wide) + max(0, l.zlo-q.zlo, q.zhi-l.zhi) + pad
}

// note remembers how the pen and the nearest keep-outs stand to a body.
func (l *Last) note(s *Set, q *query, worst *Hit) {
	*l = Last{set: s, zones: &s.shapes[0], then: q.stance(s.scale), beyond: math.Inf(1)}
	f := finder{set: s, q: q}
	f.begin(math.Inf(1))
	for i := f.next(); i >= 0; i = f.next() {
		l.add(lasting{f.clear(), i})
		if l.n > lastMost {
			l.n--
			l.beyond = min(l.beyond, l.subject[l.n].least)
			f.lower(l.beyond)
		}
	}
	if !(l.beyond > 2*max(worst.Clearance, 0)) {
		l.wait = lastWait
	}
	near := l.subject
	n := l.n
	l.n = 0
	var h Hit
	s.judgePen(q, &h)
	l.add(lasting{sound(h.Clearance), -1})
	for _, k := range near[:n] {
		if s.outs[k.out].judge(q, math.Inf(1), &h) {
			l.add(lasting{sound(h.Clearance), k.out})
		}
	}
}

// sound is what may be taken for granted of a clearance: see moved.
func sound(c float64) float64 {
	if c > 0 {
		return c
	}
	return math.Inf(-1)
}

// add puts a subject in its place.
func (l *Last) add(k lasting) {
	i := l.n
	for ; i > 0 && k.least < l.subject[i-1].least; i-- {
		l.subject[i] = l.subject[i-1]
	}
	l.subject[i] = k
	l.n++
}
