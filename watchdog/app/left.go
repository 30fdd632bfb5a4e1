package app

import (
	"sync"
	"time"

	"pinfold/watchdog/link/wire"
)

// Left is the body of the record of a command that left for the broker: the
// first time it was written to the connection. The record's instant is when.
type Left struct {
	ID  string `json:"id"`
	Seq uint64 `json:"seq"` // 1 unless it had to be repeated before any left
}

// leftID is the newest command that left; the link tells of it from goroutines of
// its own.
type leftID struct {
	mu sync.Mutex
	id string
}

// first says whether none of that id has left before.
func (l *leftID) first(id string) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	if id == l.id {
		return false
	}
	l.id = id
	return true
}

// commandLeft is told by the link of every command that was written.
func (k *keeper) commandLeft(payload []byte, at time.Duration) {
	c, err := wire.DecodeCommand(payload)
	if err != nil || !k.left.first(c.ID) { // an error cannot be: the guard wrote it
		return
	}
	k.trail.Event(k.cfg.Vehicle, "left", at, Left{ID: c.ID, Seq: c.Seq})
}
