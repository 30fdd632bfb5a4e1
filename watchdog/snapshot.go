package watchdog

import (
	"time"

	"pinfold/watchdog/pose"
	"pinfold/zones"
)

// Snapshot is what displays show. It shares nothing with the Guard.
type Snapshot struct {
	Vehicle   string
	Kind      Kind
	At        time.Duration
	Level     Level
	Go        bool
	Causes    []Cause // holding now
	Near      []Cause // inside the caution band
	Latched   []Cause // what raised the stop or land that is latched
	MoreCause int     // causes latched beyond MaxLatched
	Judged    bool    // a pose was judged; the values below are of the newest
	Pose      pose.Pose
	PoseAge   time.Duration
	Trust     pose.Distrust
	Void      bool    // the tracker is not tied to the room: Pose has no place in it
	Speed     float64 // m/s, horizontal, newest known
	Reach     Reach
	Nearest   zones.Hit
	AtRest    bool
	Retrieves bool // it is being brought back; see RetrieveFor
	Nonce     string
	Blocked   []string   // what the next act, start or reset, still lacks
	Astray    bool       // it is where only a start with retrieve brings it back from
	BackLacks []string   // what that start still lacks, where Astray
	Tie       Tie        // the alignment file in force
	Aligned   AlignHeard // the newest alignment sent, with what became of it
	Link      bool
	Trail     bool
	Acked     bool // the command in force is acknowledged
	Counts    Counts
}

// Figures are the Snapshot without its lists and sentences (Causes, Near, Latched,
// Blocked, BackLacks, Astray), which take most of the time that a Snapshot takes:
// for whoever looks at every step. Aligned.Why and Counts.FaultKinds are the guard's
// own, valid until the next Step and not to be changed.
func (g *Guard) Figures() Snapshot {
	s := Snapshot{Vehicle: g.cfg.Vehicle, Kind: g.cfg.Kind, At: g.now, Level: g.level, Go: g.permitGo,
		MoreCause: g.moreCause, Judged: g.judged, Pose: g.cur, Trust: g.trust, Speed: g.speed,
		Reach: g.reach, Nearest: g.nearest(), Nonce: g.nonce, Link: g.linkUp, Trail: g.trailUp,
		Acked: g.cmd.acked, Counts: g.counts, Tie: g.cfg.Tie, Aligned: g.aligned}
	s.PoseAge, _ = g.track.Age(g.now)
	s.Void = g.trust.Has(pose.Restarted)
	s.Retrieves = g.retrieve.on
	s.AtRest = g.atRest(g.now)
	return s
}

// Snapshot describes the guard as of its newest Step.
func (g *Guard) Snapshot() Snapshot {
	s := g.Figures()
	s.Aligned.Why = append([]string(nil), g.aligned.Why...)
	s.Counts.FaultKinds = append([]uint64(nil), g.counts.FaultKinds...)
	s.Latched = append(s.Latched, g.latched[:g.nLatched]...)
	for _, i := range g.active {
		sub := &g.subjects[i]
		c := g.causeOf(sub, sub.shown())
		switch {
		case sub.holding:
			s.Causes = append(s.Causes, c)
		case sub.near:
			c.Text = g.nearSentence(sub)
			s.Near = append(s.Near, c)
		}
	}
	ask := AskStart
	if g.latch != ActNone {
		ask = AskReset
	}
	if !g.started || g.latch != ActNone {
		s.Blocked = g.blocked(ask, g.now)
		if s.Astray = g.judged && g.misplaced(); s.Astray {
			s.BackLacks = g.lacks(AskStart, true, g.now)
		}
	}
	return s
}

// Level is the level as of the newest Step.
func (g *Guard) Level() Level { return g.level }

// FirstStamp is the sender's stamp of the first pose judged, ns; ok is false
// before it.
func (g *Guard) FirstStamp() (stamp int64, ok bool) { return g.firstStamp, g.judged }
