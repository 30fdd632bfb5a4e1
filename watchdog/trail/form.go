package trail

import (
	"fmt"
	"time"
)

// Seal is the body of the last line. The signature is Ed25519 (RFC 8032) over
// the line's bytes from its first to the last before `,"signature"`, and so over
// the head of the chain that stands in them as prev, and over the counts.
type Seal struct {
	Lines     uint64 `json:"lines"` // this one included
	Frames    int    `json:"frames"`
	Items     uint64 `json:"items"`
	Intake    int64  `json:"intake_bytes"` // of intake.pfi
	Stops     int    `json:"stops"`
	Lost      uint64 `json:"lost"`
	Signature string `json:"signature"` // hex
}

const signatureMark = `,"signature":"`

// clockStep is how far the wall clock may move against the session's clock
// before it counts as stepped: ntpd steps, and does not slew, above 128 ms.
const clockStep = 128 * time.Millisecond

// line forms the next line of the chain.
func (k *keeper) line(vehicle, kind string, at time.Duration, body []byte) uint64 {
	k.seq++
	from := len(k.events.buf)
	k.events.buf = appendLine(k.events.buf, k.seq, k.head, at, vehicle, kind, body)
	k.head = hashOf(k.events.buf[from:])
	k.events.buf = append(k.events.buf, '\n')
	return k.seq
}

// form takes what was given and forms frames and lines of it.
func (k *keeper) form(now time.Time) (closing, abandon bool) {
	w := k.w
	w.mu.Lock()
	closing, abandon = w.closing, w.abandon
	if len(k.events.buf) >= MaxTail || len(k.intake.buf) >= MaxTail {
		w.mu.Unlock()
		return closing, abandon
	}
	queue, in, gap := w.queue, (*intakeBuf)(nil), loss{}
	if k.frameDue(queue, now, closing) {
		in, w.in = w.in, k.spareIn
		gap, w.lost = w.lost, loss{}
	}
	w.queue, w.queued = k.spareQueue[:0], 0
	w.mu.Unlock()

	if in != nil {
		k.formFrames(in)
		in.reset()
		k.spareIn = in
	}
	for i := range queue {
		k.formEvent(&queue[i])
	}
	k.formGap(gap, now)
	clear(queue)
	k.spareQueue = queue[:0]
	return closing, abandon
}

// frameDue says whether the intake becomes frames now; mu is held.
func (k *keeper) frameDue(queue []queued, now time.Time, closing bool) bool {
	in := k.w.in
	gap := k.w.lost.any() && (closing || now.Sub(k.lastGap) >= k.gapEvery())
	if len(in.raw) == 0 || gap {
		return gap
	}
	for i := range queue {
		if queue[i].done != nil {
			return true
		}
	}
	return closing || now.Sub(k.lastSync) >= SyncEvery || len(in.raw) > MaxIntake/2
}

// gapEvery is the least time between two gaps, so that a lasting loss does not
// fill the chain.
func (k *keeper) gapEvery() time.Duration {
	if k.space.full {
		return tidyEvery
	}
	return SyncEvery
}

func (k *keeper) formFrames(in *intakeBuf) {
	begin := 0
	for _, m := range in.frames {
		off := k.intake.end()
		var at int
		k.intake.buf, at = k.zip.appendFrame(k.intake.buf, in.raw[begin:m.end])
		frame := k.intake.buf[at:]
		k.formClock()
		k.line("", KindIntake, m.to, encodeBody(FrameRef{
			Frame: k.frame, Offset: off, Length: len(frame), SHA256: hashOf(frame),
			First: k.items, Items: m.items, From: m.from, To: m.to, Wall: k.w.o.Wall()}))
		k.frame++
		k.items += uint64(m.items)
		begin = m.end
	}
}

func (k *keeper) formGap(l loss, now time.Time) {
	if !l.any() {
		return
	}
	k.lastGap = now
	k.gapLine = k.line("", KindGap, k.now(), encodeBody(Gap{Items: l.items, AfterItems: k.items,
		Events: l.events, From: l.from, To: l.to, Why: k.gapWhy()}))
}

func (k *keeper) gapWhy() string {
	switch {
	case k.err != nil:
		return fmt.Sprintf("could not be written: %.200s", k.err.Error())
	case k.space.full:
		return "the bound on space was reached"
	}
	return "came faster than it could be written, or an item was too large"
}

func (k *keeper) formEvent(q *queued) {
	var seq uint64
	if q.sign {
		seq, _ = k.signedLine(q.vehicle, q.kind, q.at, q.body)
	} else {
		seq = k.line(q.vehicle, q.kind, q.at, q.body)
	}
	if k.w.o.IsStop(q.kind, q.body) {
		k.stops++
	}
	if q.done != nil {
		k.waiters = append(k.waiters, waiter{seq: seq, kind: q.kind, done: q.done, deadline: q.deadline})
	}
}

// formClock says so where the wall clock was stepped.
func (k *keeper) formClock() {
	wall := k.w.o.Wall()
	at := k.now()
	offset := wall.Sub(k.w.o.Started) - at
	if step := offset - k.offset; step > clockStep || step < -clockStep {
		k.line("", KindClock, at, encodeBody(Clock{Stepped: step.Seconds(), Wall: wall}))
		k.steps, k.stepped = k.steps+1, step
	}
	k.offset = offset
}

// formSeal forms the last line, once nothing waits before it.
func (k *keeper) formSeal() {
	w := k.w
	w.mu.Lock()
	waits := len(w.queue) > 0 || len(w.in.raw) > 0 || w.lost.any()
	lost := w.allLost
	w.mu.Unlock()
	if waits || k.sealLine > 0 || len(k.waiters) > 0 {
		return
	}
	body := encodeBody(Seal{Lines: k.seq + 1, Frames: k.frame, Items: k.items, Intake: k.intake.end(),
		Stops: k.stops, Lost: lost})
	var sig string
	k.sealLine, sig = k.signedLine("", KindSeal, k.now(), body)
	k.seal = Sealed{Folder: w.folder, Head: k.head, Signature: sig, Public: publicHex(w.key),
		Lines: k.seq, Items: k.items, Lost: lost}
}
