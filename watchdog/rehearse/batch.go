package rehearse

import (
	"context"
	"errors"
	"runtime"
	"sync"
	"sync/atomic"
)

// Batch is many runs of one source: seeds in order, and from the worst of them
// others bred.
type Batch struct {
	First     uint64         // seed
	Runs      int            // altogether
	Bred      int            // of which so many are bred, once Sown are drawn
	UntilLeak bool           // end at the first leak
	Each      func(runs int) // called after some more runs, from one goroutine; nil nobody
}

const (
	// Sown is how many runs are drawn by chance before any is bred.
	Sown = 64
	// turnSize is how many runs are made between two choices of what to breed
	// from. Whatever the number of processors, they are the same.
	turnSize = 64
	// handful is how many a worker takes at a time: neighbouring seeds share a pen.
	handful = PerPen
)

// job is one run to make, and what came of it.
type job struct {
	seed uint64
	bred order // by its parent, where it has one
	res  Result
	c    *Case
	err  error
}

// Make makes the runs on all processors and counts them in their order, so that
// the tally does not depend on how many there are. An end of the context ends it
// early, with what was counted and the context's error.
func (b Batch) Make(ctx context.Context, src Source, margin float64) (*Tally, error) {
	var t Tally
	var h herd
	sown, bred := 0, 0
	for sown+bred < b.Runs {
		jobs := b.plan(&h, &sown, &bred)
		b.work(ctx, src, jobs)
		if ctx.Err() != nil {
			return &t, context.Cause(ctx)
		}
		for i := range jobs {
			j := &jobs[i]
			if j.err != nil {
				return &t, j.err
			}
			t.Add(&j.res, margin)
			if b.Bred > 0 && j.res.Started {
				h.take(j.c, &j.res)
			}
		}
		if b.Each != nil {
			b.Each(len(jobs))
		}
		if b.UntilLeak && len(t.Leaks) > 0 {
			break
		}
	}
	return &t, nil
}

// plan says which runs are made next: while both are left, as many by chance as
// bred in proportion to what is left of them.
func (b *Batch) plan(h *herd, sown, bred *int) []job {
	chance, left := b.Runs-b.Bred-*sown, b.Bred-*bred
	n := 0
	if *sown >= min(Sown, b.Runs-b.Bred) && left > 0 {
		n = min(left, max(1, turnSize*left/(left+chance)))
	}
	jobs := make([]job, min(chance, turnSize-min(n, turnSize)), turnSize)
	for i := range jobs {
		jobs[i].seed = b.First + uint64(*sown)
		*sown++
	}
	if n > 0 {
		*bred += n
		for _, o := range h.orders(n) {
			jobs = append(jobs, job{bred: o})
		}
	}
	return jobs
}

// work makes the runs of jobs.
func (b *Batch) work(ctx context.Context, src Source, jobs []job) {
	spread(ctx, len(jobs), func() func(int) {
		own := ownOf(src)
		return func(i int) { jobs[i].make(own) }
	})
}

// spread does n things on all processors, a handful at a time; worker gives what
// one of them does with the i-th. An end of the context leaves some undone.
func spread(ctx context.Context, n int, worker func() func(i int)) {
	var next atomic.Int64
	var all sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), (n+handful-1)/handful) {
		all.Go(func() {
			do := worker()
			for ctx.Err() == nil {
				from := int(next.Add(handful)) - handful
				if from >= n {
					return
				}
				for i := from; i < min(n, from+handful) && ctx.Err() == nil; i++ {
					do(i)
				}
			}
		})
	}
	all.Wait()
}

// ownOf is a source for one worker.
func ownOf(src Source) Source {
	if r, ok := src.(*Random); ok { // it keeps the pen before
		own := *r
		return &own
	}
	return src
}

var errBarren = errors.New("rehearse: these cases cannot be bred from")

// make makes the run.
func (j *job) make(src Source) {
	if j.bred.parent == nil {
		j.res, j.c, j.err = RunSeed(src, j.seed, Options{})
		return
	}
	from, ok := src.(breeder)
	if !ok {
		j.err = errBarren
		return
	}
	if j.c, j.err = childOf(from, j.bred.parent, j.bred.other, j.bred.by); j.err != nil {
		return
	}
	if j.c == nil {
		j.res.Run = j.bred.parent.Run().child(j.bred.by)
		return
	}
	j.res, j.err = Run(j.c, Options{})
}
