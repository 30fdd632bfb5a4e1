package rehearse

import (
	"context"
	"errors"
	"runtime"
	"sync"
)

// Batch is many seeds of one source.
type Batch struct {
	First     uint64
	Runs      int
	UntilLeak bool           // end at the first leak
	Each      func(runs int) // called after some more runs, from one goroutine; nil nobody
}

// chunk is how many seeds a worker takes at a time.
const chunk = 64

// worked is what became of a chunk.
type worked struct {
	results []Result
	err     error
}

// Make makes the runs on all processors and counts them in the order of their
// seeds, so that the tally does not depend on how many there are. An end of the
// context ends it early, with what was counted and the context's error.
func (b Batch) Make(ctx context.Context, src Source, margin float64) (*Tally, error) {
	ctx, end := context.WithCancelCause(ctx)
	defer end(nil)
	slots := make([]chan worked, (b.Runs+chunk-1)/chunk)
	for i := range slots {
		slots[i] = make(chan worked, 1)
	}
	var next int
	var mu sync.Mutex
	var all sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(slots)) {
		all.Go(func() {
			for ctx.Err() == nil {
				mu.Lock()
				i := next
				next++
				mu.Unlock()
				if i >= len(slots) {
					return
				}
				slots[i] <- b.chunk(ctx, src, i)
			}
		})
	}
	defer all.Wait()
	defer end(errDone)
	return b.count(ctx, slots, margin)
}

var errDone = errors.New("rehearse: done")

// chunk makes the runs of chunk i.
func (b Batch) chunk(ctx context.Context, src Source, i int) (w worked) {
	for k := i * chunk; k < min(b.Runs, (i+1)*chunk) && ctx.Err() == nil; k++ {
		res, _, err := RunSeed(src, b.First+uint64(k), Options{})
		if err != nil {
			return worked{err: err}
		}
		w.results = append(w.results, res)
	}
	return w
}

// count takes the chunks in, in order.
func (b Batch) count(ctx context.Context, slots []chan worked, margin float64) (*Tally, error) {
	var t Tally
	for i := range slots {
		var w worked
		select {
		case w = <-slots[i]:
		case <-ctx.Done():
			return &t, context.Cause(ctx)
		}
		if w.err != nil {
			return &t, w.err
		}
		for k := range w.results {
			t.Add(&w.results[k], margin)
		}
		if b.Each != nil {
			b.Each(len(w.results))
		}
		if b.UntilLeak && len(t.Leaks) > 0 {
			break
		}
	}
	return &t, nil
}
