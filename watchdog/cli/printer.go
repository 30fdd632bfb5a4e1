package cli

import (
	"sync/atomic"
	"time"
)

// printer does what prints in a goroutine of its own, one thing after the
// other, so that a terminal or a pipe that takes nothing never holds up whoever
// has something to say. What does not fit the queue is left out and counted.
type printer struct {
	queue   chan func()
	done    chan struct{}
	left    atomic.Int64
	closing atomic.Bool
}

const (
	printDepth = 512         // things that may wait to be printed
	printLast  = time.Second // for what still waits at the end
)

func newPrinter() *printer {
	p := &printer{queue: make(chan func(), printDepth), done: make(chan struct{})}
	go p.run()
	return p
}

func (p *printer) run() {
	defer close(p.done)
	for do := range p.queue {
		if do == nil {
			return
		}
		do()
	}
}

// post has do done soon; it returns at once. After close it does nothing.
func (p *printer) post(do func()) {
	if p.closing.Load() {
		return
	}
	select {
	case p.queue <- do:
	default:
		p.left.Add(1)
	}
}

// leftOut is how many things were left out since it was last asked.
func (p *printer) leftOut() int64 { return p.left.Swap(0) }

// close prints what waits, for at most printLast.
func (p *printer) close() {
	if p.closing.Swap(true) {
		return
	}
	late := time.NewTimer(printLast)
	defer late.Stop()
	select {
	case p.queue <- nil:
	case <-late.C:
		return
	}
	select {
	case <-p.done:
	case <-late.C:
	}
}
