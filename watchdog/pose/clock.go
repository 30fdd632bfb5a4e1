package pose

import "time"

// driftPPM is how fast the floor of the stamp offset may rise, in millionths
// of the elapsed time: clocks of ordinary oscillators differ by up to 100 ppm
// each way (common practice, no source). It bounds what a slowly growing
// backlog can hide: 0.2 ms a second.
const driftPPM = 200

// senderClock relates the sender's stamps to local arrival without a shared
// clock. The offset (arrival − stamp) is the transit time plus an unknown
// constant; the least offset ever seen stands for the fastest transit, and how
// far a sample's offset is above it is how late it came.
type senderClock struct {
	begun   bool
	floor   int64 // ns, least offset so far, raised by driftPPM of elapsed time
	offset  int64 // ns, of the newest sample
	arrived time.Duration
	fallen  int64 // ns, how far the floor has come down lately, less leakPPM of elapsed time
}

// leakPPM is how fast the floor may come down for good without suspicion: twice
// what driftPPM raises it by, and room for the clocks themselves.
const leakPPM = 600

// observe takes one sample's stamp and arrival and gives its lateness. leap
// is how far, if at all, the stamps ran ahead of the floor, in one step or in
// many close together. The caller that acts on a leap calls forgive.
func (k *senderClock) observe(stamp int64, arrived time.Duration) (lateness, leap time.Duration) {
	offset := int64(arrived) - stamp
	if !k.begun {
		*k = senderClock{begun: true, floor: offset, offset: offset, arrived: arrived}
		return 0, 0
	}
	passed := int64(max(0, arrived-k.arrived))
	k.floor += passed / (1e6 / driftPPM)
	k.fallen = max(0, k.fallen-passed*leakPPM/1e6)
	if offset < k.floor {
		// Below the floor: a faster transit than ever, or the sender's clock
		// leapt. A backlog that drains comes down from above in small steps,
		// so only what is both below the floor and one step counts.
		leap = time.Duration(min(k.floor, k.offset) - offset)
		// Many small steps ahead are a clock that runs fast, and hide speed as
		// surely as one long step: they are added up.
		k.fallen += k.floor - offset
		leap = max(leap, time.Duration(k.fallen))
		k.floor = offset
	}
	k.offset, k.arrived = offset, arrived
	return time.Duration(offset - k.floor), leap
}

// before says whether a stamp is not after the newest one: then it is of
// another clock.
func (k *senderClock) before(stamp int64) bool {
	return k.begun && stamp <= int64(k.arrived)-k.offset
}

// forgive begins the count of steps ahead anew, after they were acted on.
func (k *senderClock) forgive() { k.fallen = 0 }
