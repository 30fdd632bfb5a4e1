package pose

import (
	"math"
	"time"
)

// rateMeter counts arrivals. Only the instants of the newest `least` ones
// matter: the rate is too low where the oldest of them is over rateSpan ago.
//
// A gap begins a new run, and a run is judged once it is rateSpan long: the
// silence itself is Stale, and the second after it is not blamed again.
type rateMeter struct {
	ring  []time.Duration // as many as have to arrive within rateSpan; none: off
	next  int
	count int
	begin time.Duration // first arrival of the run
}

func newRateMeter(leastHz float64) rateMeter {
	return rateMeter{ring: make([]time.Duration, int(math.Ceil(leastHz)))}
}

func (r *rateMeter) clear() { r.count = 0 }

// take counts one arrival.
func (r *rateMeter) take(arrived time.Duration, gap bool) {
	if len(r.ring) == 0 {
		return
	}
	if gap || r.count == 0 {
		r.count, r.begin = 0, arrived
	}
	r.ring[r.next] = arrived
	if r.next++; r.next == len(r.ring) {
		r.next = 0
	}
	r.count = min(r.count+1, len(r.ring))
}

// slowFrom is the instant from which the rate is too low if nothing more
// arrives; false where the rate is not watched.
func (r *rateMeter) slowFrom() (time.Duration, bool) {
	if len(r.ring) == 0 || r.count == 0 {
		return 0, false
	}
	from := r.begin
	if r.count == len(r.ring) {
		from = r.ring[r.next] // the oldest
	}
	return from + rateSpan + 1, true
}
