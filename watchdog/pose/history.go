package pose

// maxHistory is how many samples a velocity window holds at most: a full
// second at 256 Hz. A denser tracker's window is cut to the newest ones, which
// shortens its lag.
const maxHistory = 256

// leap, rad, is a turn from one sample to the next after which a turn back as far is
// taken for one bad attitude. A smaller one there and back leaves less than its half
// times the turn between the two: 2 % of a rate of turn.
const leap = 0.1

// entry is what later samples need to know of an earlier one, site frame.
type entry struct {
	stamp    int64
	position Vec  // m
	attitude Quat // body to site
	turned   Vec  // rad, the turns from sample to sample since the history began, summed
	given    Vec  // m/s, reported velocity of the body's centre
	hasGiven bool
	leapt    bool // it turned by more than a leap
}

// history is the newest samples since the last break (start, gap, jump, clock
// step, restart): nothing is derived across one. They lie one after the other in
// all, up to end; where it is full the newest are moved to its front.
type history struct {
	all   *[2 * maxHistory]entry
	end   int
	count int
}

func newHistory() history { return history{all: new([2 * maxHistory]entry)} }

func (h *history) clear() { h.count = 0 }

func (h *history) push(e *entry) {
	h.turn(e)
	if h.end == len(h.all) {
		h.end = copy(h.all[:], h.newest(min(h.count, maxHistory-1)))
	}
	h.all[h.end] = *e
	h.end++
	h.count = min(h.count+1, maxHistory)
}

// turn works out how far e has turned. The turns of a rotation from sample to
// sample are small, and their sum is its rate over time, about whatever axes; a
// turn of half a circle may be one to either side, so an attitude that leapt is
// passed over by one that leaps back.
func (h *history) turn(e *entry) {
	e.turned, e.leapt = Vec{}, false
	if h.count == 0 {
		return
	}
	from := h.back(0)
	by := e.attitude.Mul(from.attitude.Conj()).rotationVector()
	e.leapt = by.Dot(by) > leap*leap
	if e.leapt && from.leapt && h.count > 1 {
		from, e.leapt = h.back(1), false
		by = e.attitude.Mul(from.attitude.Conj()).rotationVector()
	}
	e.turned = from.turned.Add(by)
}

// back is the i-th newest entry, 0 the newest; i < count.
func (h *history) back(i int) *entry { return &h.all[h.end-1-i] }

// newest is the newest n, the oldest of them first; n <= count.
func (h *history) newest(n int) []entry { return h.all[h.end-n : h.end] }
