package sim

import (
	"context"
	"errors"
	"time"

	"pinfold/sim/broker"
	"pinfold/sim/judge"
)

// StoryOptions say where the demo's story is told.
type StoryOptions struct {
	Broker *broker.Broker  // alive; the story kills it once and restarts it
	Prefix string          // of the topics; wire.DefaultPrefix where empty
	Seed   uint64          // of tracker errors, gusts and the ways flown
	Report func(StoryLine) // called from several goroutines, one at a time; may be nil
}

// StoryLine is one sentence about what happens.
type StoryLine struct {
	At      time.Duration `json:"at_ns"`   // since the story began
	Vehicle string        `json:"vehicle"` // empty where it is about both or neither
	Text    string        `json:"text"`    // one plain sentence, no full stop
}

// Act is one scene with what had to be seen in it, and what was.
type Act struct {
	Name     string        `json:"name"`
	Vehicle  string        `json:"vehicle"`
	Expected string        `json:"expected"` // level and cause that the watchdog's state had to show
	Seen     string        `json:"seen"`     // what it showed, or what was shown last
	OK       bool          `json:"ok"`
	At       time.Duration `json:"at_ns"` // since the story began: seen, or given up
}

// VehicleResult is how one vehicle fared.
type VehicleResult struct {
	Name     string        `json:"name"`
	Verdict  judge.Verdict `json:"verdict"`
	ClosestM float64       `json:"closest_m"` // m, least room to the edge of the allowed space; negative by the depth of a breach
	Halts    []Halting     `json:"halts"`
}

// StoryResult is what came of a story. The zero value is a story that nobody
// saw: Stayed and OK are false.
type StoryResult struct {
	Seed     uint64          `json:"seed"`
	Took     time.Duration   `json:"took_ns"`
	Acts     []Act           `json:"acts"`
	Vehicles []VehicleResult `json:"vehicles"`
}

// Stayed says whether every vehicle stayed in its pen, as the judge saw it on
// every physics step to the end.
func (r StoryResult) Stayed() bool {
	for _, v := range r.Vehicles {
		if !v.Verdict.Stayed() {
			return false
		}
	}
	return len(r.Vehicles) > 0
}

// OK says whether every act showed what it had to.
func (r StoryResult) OK() bool {
	for _, a := range r.Acts {
		if !a.OK {
			return false
		}
	}
	return len(r.Acts) > 0
}

// RunStory moves the demo's two vehicles through their acts, about 40 s of real
// time when things go well, and returns what was seen. It needs the watchdog to
// run on DemoSite at the broker. The error says why the story could not be told
// to its end; the result then holds what was seen so far.
func RunStory(ctx context.Context, o StoryOptions) (StoryResult, error) {
	return StoryResult{}, errors.New("sim: the story is being written")
}
