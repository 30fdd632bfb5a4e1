package rehearse

import (
	"fmt"
	"time"

	"pinfold/sim"
	"pinfold/sim/judge"
	"pinfold/watchdog"
)

// PlantKind is the model a run's vehicle moves by.
type PlantKind uint8

// The models. The zero one is none.
const (
	Differential PlantKind = iota + 1 // rover that turns its wheels against each other
	Steered                           // rover that steers
	Point                             // flies as declared and no better: sim.Mover
	Rotor                             // sim.Multirotor with its attitude, thrust and controller
)

// String gives the model's word.
func (k PlantKind) String() string {
	return word(int(k), "none", "differential", "steered", "point", "rotor")
}

func word(i int, words ...string) string {
	if i < 0 || i >= len(words) {
		return "unknown"
	}
	return words[i]
}

// Truth is what holds in the run whatever was declared.
type Truth struct {
	Plant    PlantKind
	Transit  time.Duration // from the instant of a pose to its arrival: what every pose takes at least
	Late     time.Duration // and at most beyond
	Down     time.Duration // from guard to vehicle, most
	DownLate time.Duration // of which this much comes and goes
	Actuator time.Duration // whole ticks
	Braking  float64       // m/s², over the floor
	Vertical float64       // m/s²
	Gain     float64       // m/s², acceleration over the floor at the most
	Turning  float64       // share of Gain that a rover has across, when it drives at full Gain along: 0 to 1
	Rotor    sim.MultirotorSpec
	Eye      sim.EyeSpec
	SilentAt time.Duration // nothing more arrives from the tracker after this instant; 0 never
	CutCall  bool          // the link to the vehicle dies the moment the stop is called
}

// Corner is how much of what is declared is used up.
type Corner uint8

// The corners.
const (
	Within   Corner = iota // everything is drawn within what is declared
	Declared               // the vehicle brakes and reacts exactly as declared; errors are drawn within
	Worst                  // everything is as bad as declared, and points the worst way
	Corners
)

// String gives the corner's word.
func (k Corner) String() string { return word(int(k), "within", "as declared", "worst") }

// Case is one run.
type Case struct {
	Seed   uint64
	Config watchdog.Config
	Pen    judge.Pen
	Truth  Truth
	Pilot  Pilot
	At     sim.Vec // m, start
	Speed  sim.Vec // m/s, at the start
	Target judge.Place
	Corner Corner
	AtRest bool          // it begins at rest, with the waits of its config
	Most   time.Duration // longest run after the start was granted

	line    Line   // its own; empty: Seed's
	founder uint64 // seed of the scene it is in
	genes   genome
	parent  *Case // nil: drawn by chance
	depth   int   // how many steps it is from its seed
}

// Tick is the step of the plant, and how often a vehicle asks whether it may
// move.
const Tick = time.Millisecond

// WarmUp is how long a vehicle is watched at least before the start is asked
// for, where the run begins in motion.
const WarmUp = 80 * time.Millisecond

// warm is that time, long enough for a derived velocity to be known.
func (c *Case) warm() time.Duration {
	return max(WarmUp, c.Config.Pose.VelocityWindow/2+30*time.Millisecond)
}

// Hashes are FNV-1a sums of what happened in a run, kind by kind, each to the
// last bit.
type Hashes struct {
	Poses  uint64 `json:"poses"`  // every byte the tracker sent
	Said   uint64 `json:"said"`   // every permit and command: what and when, without its figures
	Values uint64 `json:"values"` // the figures in the commands
	Truth  uint64 `json:"truth"`  // position and velocity at every tick
}

// Result is what came of a run.
type Result struct {
	Run     Line          `json:"run"`             // which it was
	Seed    uint64        `json:"seed"`            // of what comes and goes in it
	Started bool          `json:"started"`         // without, it is no run
	Stopped bool          `json:"stopped"`         // the guard called a stop or land
	Cause   string        `json:"cause,omitempty"` // that latched it
	Name    string        `json:"name,omitempty"`  // of the zone or limit
	StopAt  time.Duration `json:"stop_ns"`
	Began   time.Duration `json:"-"`        // how long it waited for its start
	Speed   float64       `json:"speed"`    // m/s, true, over the floor, when it was called
	Allowed float64       `json:"allowed"`  // m, declared stopping distance then
	Rested  bool          `json:"rested"`   // it came to rest
	Left    bool          `json:"left"`     // the judge saw it outside
	Depth   float64       `json:"depth"`    // m, how deep
	Closest float64       `json:"closest"`  // m, least room there was
	Room    float64       `json:"room"`     // m, at rest; never more than the truth (see judge.Room)
	Short   bool          `json:"short"`    // it came to rest within the declared margin
	Place   judge.Place   `json:"place"`    // what is nearest at rest, or where it left
	Over    float64       `json:"over"`     // m, how far beyond a limit of height or distance it came; negative: short of it
	Limit   string        `json:"limit"`    // which
	At      sim.Vec       `json:"at"`       // m, where it rests
	Headed  bool          `json:"headed"`   // it kept straight at the edge it came to rest at
	Needles bool          `json:"needless"` // a perfect judge would not have stopped it
	Length  time.Duration `json:"length_ns"`
	Hash    Hashes        `json:"hash"` // of everything that happened, where asked for
	Target  judge.Place   `json:"-"`
	Pilot   PilotKind     `json:"-"`
	Corner  Corner        `json:"-"`
}

// String tells the case in one line.
func (c *Case) String() string {
	t, p := &c.Truth, &c.Pilot
	return fmt.Sprintf("%v, %v pilot at %.2f m/s%s, %v: brakes at %.2f m/s², gains %.2f m/s²; pose %v + %v, link back %v, actuators %v; position off by %.3f m",
		t.Plant, p.Kind, p.Speed, c.towards(), c.Corner, t.Braking, t.Gain, t.Transit.Round(time.Millisecond/10), t.Late, t.Down.Round(time.Millisecond/10), t.Actuator, t.Eye.Hide.Len())
}

// towards is what the case's own pilot aims at, where it is anything of the pen.
func (c *Case) towards() string {
	if c.Target == (judge.Place{}) {
		return ""
	}
	return " towards " + placeName(c.Target)
}
