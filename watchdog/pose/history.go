package pose

// maxHistory is how many samples a velocity window holds at most: a full
// second at 256 Hz. A denser tracker's window is cut to the newest ones, which
// shortens its lag.
const maxHistory = 256

// entry is what later samples need to know of an earlier one, site frame.
type entry struct {
	stamp    int64
	position Vec  // m
	attitude Quat // body to site
	given    Vec  // m/s, reported velocity of the body's centre
	hasGiven bool
}

// history is the newest samples since the last break (start, gap, jump, clock
// step, restart): nothing is derived across one.
type history struct {
	ring  *[maxHistory]entry
	next  uint // the next one goes to next % maxHistory, which is a power of two
	count int
}

func newHistory() history { return history{ring: new([maxHistory]entry)} }

func (h *history) clear() { h.count = 0 }

func (h *history) push(e *entry) {
	h.ring[h.next%maxHistory] = *e
	h.next++
	h.count = min(h.count+1, maxHistory)
}

// back is the i-th newest entry, 0 the newest; i < count.
func (h *history) back(i int) *entry {
	return &h.ring[(h.next-1-uint(i))%maxHistory]
}
