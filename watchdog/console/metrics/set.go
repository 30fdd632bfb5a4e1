package metrics

import (
	"slices"
	"sync/atomic"
	"time"

	"pinfold/watchdog"
)

// Set is the metrics of one session. Its methods may be called by any goroutine
// and never wait for a reader.
type Set struct {
	now      func() time.Duration
	began    time.Time
	version  string
	kinds    []string // of messages that may have to be signed
	vehicles []vehicle
	trail    func() Trail

	taken, refused atomic.Uint64 // site files read again
}

// vehicle is what is known of one.
type vehicle struct {
	name     string
	last     atomic.Pointer[watchdog.Snapshot]
	beat     atomic.Int64 // session instant of the newest step, ns; 0 before the first
	link     atomic.Bool
	judged   histogram
	unsigned []atomic.Uint64 // by Set.kinds
}

// Trail is how the trail stands.
type Trail struct {
	OK    bool
	Lost  uint64 // items and records that will never be in it
	Lines uint64 // durable records
	Items uint64 // durable messages
	Bytes int64  // of all sessions together
	Bound int64  // of Bytes
	Free  int64  // on the disk; -1 unknown

	Steps   uint64        // of the wall clock
	Stepped time.Duration // the last of them
}

// Session says what is running.
type Session struct {
	Version  string
	Began    time.Time            // the session's instant zero
	Now      func() time.Duration // session instant
	Vehicles []string
	Signed   []string     // the kinds of messages that may have to be signed
	Trail    func() Trail // how it stands now; of any goroutine
}

// New makes the metrics of a session.
func New(s Session) *Set {
	m := &Set{now: s.Now, trail: s.Trail, began: s.Began, version: s.Version, kinds: s.Signed, vehicles: make([]vehicle, len(s.Vehicles))}
	for i := range s.Vehicles {
		m.vehicles[i].name = s.Vehicles[i]
		m.vehicles[i].unsigned = make([]atomic.Uint64, len(s.Signed))
	}
	return m
}

// Watch is shown the snapshot of vehicle i. It keeps a copy.
func (m *Set) Watch(i int, s *watchdog.Snapshot) {
	c := *s
	m.vehicles[i].last.Store(&c)
}

// Beat says that the loop of vehicle i has judged at now, a session instant.
func (m *Set) Beat(i int, now time.Duration) { m.vehicles[i].beat.Store(max(1, int64(now))) }

// Judged says how long a pose of vehicle i took from arrival to judgement.
func (m *Set) Judged(i int, took time.Duration) { m.vehicles[i].judged.observe(took) }

// Link says whether the connection of vehicle i to the broker is up.
func (m *Set) Link(i int, up bool) { m.vehicles[i].link.Store(up) }

// Unsigned counts a message of a kind, for vehicle i, that lacked its signature. The
// kind is one of Session.Signed.
func (m *Set) Unsigned(i int, kind string) {
	if k := slices.Index(m.kinds, kind); k >= 0 {
		m.vehicles[i].unsigned[k].Add(1)
	}
}

// Reload counts a site file that was read again.
func (m *Set) Reload(taken bool) {
	if taken {
		m.taken.Add(1)
	} else {
		m.refused.Add(1)
	}
}
