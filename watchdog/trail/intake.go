package trail

import "time"

// intakeBuf holds items, encoded, until the writer forms frames of them. Two of
// them take turns, so that the caller never waits for compression or disk.
type intakeBuf struct {
	raw    []byte
	frames []frameMark // closed ones, and at the end the open one
}

// newIntakeBuf has room for a second of one vehicle at 200 Hz, which is what waits in
// ordinary running; it grows once for more, and to MaxIntake where the disk is slow.
// Room that is never used still counts for the garbage collector, which lets as much
// again lie about.
func newIntakeBuf() *intakeBuf {
	return &intakeBuf{raw: make([]byte, 0, MaxIntake/64), frames: make([]frameMark, 0, 64)}
}

// frameMark is one frame to be: raw[previous end:end].
type frameMark struct {
	end      int
	items    int
	from, to time.Duration
}

// put appends an item; false where there is no room for it.
func (b *intakeBuf) put(it *Item) bool {
	if len(b.raw)+itemHeader+len(it.Payload) > MaxIntake {
		return false
	}
	if n := len(b.frames); n == 0 || b.full(&b.frames[n-1], n, it) {
		b.frames = append(b.frames, frameMark{from: it.At})
	}
	b.raw = appendItem(b.raw, it)
	f := &b.frames[len(b.frames)-1]
	f.end, f.to = len(b.raw), it.At
	f.items++
	return true
}

// full says whether the n-th frame must end before it.
func (b *intakeBuf) full(f *frameMark, n int, it *Item) bool {
	start := 0
	if n > 1 {
		start = b.frames[n-2].end
	}
	return it.At-f.from >= FrameSpan || f.end-start >= frameBytes
}

func (b *intakeBuf) reset() { b.raw, b.frames = b.raw[:0], b.frames[:0] }

// loss counts what was given and could not be kept.
type loss struct {
	items, events uint64
	from, to      time.Duration
}

func (l *loss) any() bool { return l.items+l.events > 0 }

func (l *loss) add(items, events uint64, at time.Duration) {
	if !l.any() {
		l.from, l.to = at, at
	}
	l.from, l.to = min(l.from, at), max(l.to, at)
	l.items += items
	l.events += events
}
