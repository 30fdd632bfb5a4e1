package trail

import (
	"time"
)

// keeper forms lines and frames and gives the disk its jobs. It runs in the
// writer's goroutine and never waits for the disk.
type keeper struct {
	w    *Writer
	disk *disk
	zip  *squeezer
	now  func() time.Duration // the session's clock

	events, intake tail
	seq            uint64 // lines formed
	head           string // of line seq
	frame          int    // frames formed
	items          uint64 // items in them
	spareIn        *intakeBuf
	spareQueue     []queued
	waiters        []waiter
	stops          int
	gapLine        uint64 // the last gap
	lastGap        time.Time
	sealLine       uint64 // 0 not formed yet
	seal           Sealed

	durable   uint64 // lines
	busy      bool   // the disk has a job
	busySince time.Time
	lastSync  time.Time // when the last one began
	lastTidy  time.Time
	retryAt   time.Time
	err, gone error         // of the last job, of the last look
	offset    time.Duration // wall clock minus session's clock
	steps     uint64        // of the wall clock
	stepped   time.Duration // the last of them

	space    space
	told     Status // by OnStatus
	toldOnce bool
}

// waiter is a durable record in the chain whose answer is due.
type waiter struct {
	seq      uint64
	kind     string
	done     func(failed bool)
	deadline time.Time
}

func (k *keeper) run() {
	defer k.end()
	tick := time.NewTicker(tickEvery)
	defer tick.Stop()
	for {
		select {
		case <-k.w.wake:
		case r := <-k.disk.results:
			k.take(r, time.Now())
		case <-tick.C:
		}
		now := time.Now()
		closing, abandon := k.form(now)
		k.expire(now)
		k.watchSpace()
		if closing {
			k.formSeal()
		}
		k.start(now, closing)
		k.report(now)
		if abandon || (k.sealLine > 0 && k.durable >= k.sealLine && !k.busy) {
			return
		}
	}
}

// end answers what still waits and lets the disk go.
func (k *keeper) end() {
	w := k.w
	close(k.disk.jobs)
	select { // a disk that has stalled may end later; it keeps the lock until then
	case <-k.disk.ended:
	case <-time.After(endWait):
	}
	w.mu.Lock()
	dones := append(k.dropQueue(), w.refused...)
	for _, x := range k.waiters {
		dones = append(dones, x.done)
	}
	w.refused, k.waiters = nil, nil
	if k.sealLine > 0 && k.durable >= k.sealLine {
		w.sealed = k.seal
		w.status.OK, w.status.Err = true, ""
	}
	close(w.ended)
	w.mu.Unlock()
	for _, done := range dones {
		done(true)
	}
}

// dropQueue empties the queue and gives the answers it owes; mu is held.
func (k *keeper) dropQueue() (dones []func(bool)) {
	for i := range k.w.queue {
		q := &k.w.queue[i]
		k.w.lose(0, 1, q.at)
		if q.done != nil {
			dones = append(dones, q.done)
		}
	}
	k.w.queue, k.w.queued = k.w.queue[:0], 0
	return dones
}

// take takes in what became of a job.
func (k *keeper) take(r result, now time.Time) {
	k.busy, k.err = false, r.err
	k.intake.done(r.job.intake, r.job.sync, r.err)
	k.events.done(r.job.events, r.job.sync, r.err)
	if r.job.tidy {
		k.gone = r.gone
	}
	if r.job.tidy || r.err != nil {
		k.space.free = r.free
	}
	if r.err != nil {
		k.retryAt = now.Add(retryEvery)
		return
	}
	k.space.took(r)
	if !r.job.sync {
		return
	}
	k.durable = r.job.lines
	k.w.mu.Lock()
	k.w.status.Lines, k.w.status.Items, k.w.status.Head = r.job.lines, r.job.items, r.job.head
	k.w.mu.Unlock()
	k.answer()
}

// answer tells those whose line is durable now.
func (k *keeper) answer() {
	for len(k.waiters) > 0 && k.waiters[0].seq <= k.durable {
		done := k.waiters[0].done
		k.waiters = append(k.waiters[:0], k.waiters[1:]...)
		done(false)
	}
}

// expire tells those who have waited too long, and says so in the chain where
// their line is in it already.
func (k *keeper) expire(now time.Time) {
	kept := k.waiters[:0]
	var late []waiter
	for _, x := range k.waiters {
		if now.Before(x.deadline) {
			kept = append(kept, x)
		} else {
			late = append(late, x)
		}
	}
	k.waiters = kept
	for _, x := range late {
		k.line("", KindLate, k.now(), encodeBody(Late{Line: x.seq, Kind: x.kind}))
		x.done(true)
	}
	for _, done := range k.expireQueue(now) {
		done(true)
	}
}

func (k *keeper) expireQueue(now time.Time) (dones []func(bool)) {
	w := k.w
	w.mu.Lock()
	defer w.mu.Unlock()
	dones, w.refused = w.refused, nil
	kept := w.queue[:0]
	for _, q := range w.queue {
		if q.done == nil || now.Before(q.deadline) {
			kept = append(kept, q)
			continue
		}
		w.queued -= len(q.body)
		w.lose(0, 1, q.at)
		dones = append(dones, q.done)
	}
	w.queue = kept
	return dones
}

// start gives the disk its next job where it is idle and there is one.
func (k *keeper) start(now time.Time, closing bool) {
	if k.busy || now.Before(k.retryAt) {
		return
	}
	unsynced := k.seq > k.durable
	j := job{
		intake: k.intake.part(), events: k.events.part(),
		sync:  unsynced && (len(k.waiters) > 0 || closing || k.err != nil || now.Sub(k.lastSync) >= SyncEvery),
		tidy:  now.Sub(k.lastTidy) >= tidyEvery,
		lines: k.seq, items: k.items, head: k.head,
	}
	j.syncDir = j.sync && k.sealLine > 0
	j.remove = k.space.due(k.durable)
	if !j.sync && !j.tidy && j.remove == nil && len(j.intake.data)+len(j.events.data) == 0 {
		return
	}
	if j.sync {
		k.lastSync = now
	}
	if j.tidy {
		k.lastTidy = now
	}
	k.busy, k.busySince = true, now
	k.disk.jobs <- j
}
