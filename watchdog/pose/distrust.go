package pose

import "strings"

// Distrust is a set of reasons not to trust the pose. The zero value, none, is
// only reached through Track.Accept: a Track that has seen nothing reports
// NoPose.
type Distrust uint16

// Reasons, each a bit.
const (
	NoPose    Distrust = 1 << iota // nothing was ever accepted
	Stale                          // the newest pose is older than max_age
	Late                           // messages arrive late against the sender's clock: a backlog
	Frozen                         // bit-identical for too long
	Jumped                         // moved further than the vehicle can
	Unsure                         // confidence below the least
	Slow                           // rate below the least
	Disagrees                      // reported and derived velocity disagree
	Restarted                      // the tracker restarted: the alignment is void
	ClockStep                      // the sender's stamps leapt against the local clock
)

// DistrustReasons is the number of reasons: bits 0 to DistrustReasons-1.
const DistrustReasons = 10

// Has reports whether all reasons of r are in d.
func (d Distrust) Has(r Distrust) bool { return d&r == r }

// Name is the stable name of a single reason, as it stands as a cause in the
// trail; "none" for the empty set and "unknown" for anything else.
func (d Distrust) Name() string {
	switch d {
	case 0:
		return "none"
	case NoPose:
		return "pose-none"
	case Stale:
		return "pose-stale"
	case Late:
		return "pose-late"
	case Frozen:
		return "pose-frozen"
	case Jumped:
		return "pose-jump"
	case Unsure:
		return "pose-confidence"
	case Slow:
		return "pose-rate"
	case Disagrees:
		return "pose-velocity"
	case Restarted:
		return "tracker-restarted"
	case ClockStep:
		return "clock-step"
	}
	return "unknown"
}

// String is the names of the reasons in the set, joined by commas, in the
// order of their bits.
func (d Distrust) String() string {
	if d&(d-1) == 0 {
		return d.Name()
	}
	names := make([]string, 0, DistrustReasons)
	for i := range 16 {
		if r := d & (1 << i); r != 0 {
			names = append(names, r.Name())
		}
	}
	return strings.Join(names, ",")
}

// ParseDistrust is the reason with the given name.
func ParseDistrust(name string) (Distrust, bool) {
	for i := range DistrustReasons {
		if r := Distrust(1) << i; r.Name() == name {
			return r, true
		}
	}
	return 0, false
}
