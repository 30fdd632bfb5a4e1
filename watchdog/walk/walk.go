package walk

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"pinfold/watchdog"
	"pinfold/zones"
)

// Walk follows one walk. It has no clock: the snapshots have the time.
type Walk struct {
	cfg    *watchdog.Config
	list   List
	cur    int // item that is due; len(Items): none
	phase  phase
	due    bool             // the person was told of the item, so that a stop can be for it
	known  []watchdog.Cause // latched, and looked at
	wire   []Command        // heard since the last reset
	hit    *hit             // the stop that fits the item, whose command was not heard yet
	asked  string           // nonce of the newest reset that was asked for
	void   bool             // it was said that the tie is void
	said   string           // what was said last about being brought back
	saidAt time.Duration
	out    Out
}

type phase uint8

const (
	begin phase = iota // not ready yet: the guard holds a stop from before
	armed              // the item is due and nothing is latched
	back               // a stop is latched: bring it back inside
)

// hit is a stop that fits the item.
type hit struct {
	cause watchdog.Cause
	at    time.Duration
	snap  watchdog.Snapshot
}

// Command is a command as a bystander on the broker heard it.
type Command struct {
	Cause string
	Name  string
	After float64 // ms from the pose that it names to the command; negative: not known
}

// Out is what a call asks its caller to do.
type Out struct {
	Say    []Saying
	Reset  string // nonce to ask for a reset with; empty: nothing to ask for
	Ticked bool   // the list changed: keep it
}

// Saying is something to tell the person.
type Saying struct {
	Text   string
	Prompt bool // what to do now: large, and to be said again
	Bell   bool
}

// New makes a walk of plan. by is who walks.
func New(cfg *watchdog.Config, plan []Item, by string) *Walk {
	w := &Walk{cfg: cfg, list: List{Vehicle: cfg.Vehicle, Site: cfg.Hash, By: by, Shows: Shows, Items: plan}}
	w.cur = -1
	w.next()
	return w
}

// List is the list so far.
func (w *Walk) List() List {
	l := w.list
	l.Items = append([]Item(nil), w.list.Items...)
	return l
}

// Done says that every item was seen to.
func (w *Walk) Done() bool { return w.cur >= len(w.list.Items) }

// End closes the list.
func (w *Walk) End(why string) {
	w.list.Done, w.list.Ended = w.Done(), why
}

// next goes on to the next item that is open.
func (w *Walk) next() {
	for w.cur++; !w.Done(); w.cur++ {
		if w.list.Items[w.cur].Outcome == Open {
			return
		}
	}
}

func (w *Walk) item() *Item { return &w.list.Items[w.cur] }

func (w *Walk) say(s Saying) { w.out.Say = append(w.out.Say, s) }

func (w *Walk) take() Out {
	o := w.out
	w.out = Out{}
	return o
}

// hearWithin is how long the command of a stop may take to be heard.
const hearWithin = 2 * time.Second

// See takes the guard's newest snapshot.
func (w *Walk) See(s *watchdog.Snapshot) Out {
	if w.Done() {
		return w.take()
	}
	w.list.Tie = s.Tie.Hash
	w.list.Residual = w.cfg.Stopping.AlignErr
	w.tied(s)
	if len(s.Latched) == 0 && s.Level == watchdog.Waiting {
		w.ready()
		return w.take()
	}
	for i := range s.Latched {
		if c := &s.Latched[i]; !w.knows(c) {
			w.known = append(w.known, *c)
			w.called(c, s)
		}
	}
	if w.phase == armed {
		w.phase = back
	}
	w.confirm(s)
	if w.hit == nil && !w.Done() {
		w.bringBack(s)
	}
	return w.take()
}

// tied says once that the tracker's tie to the room is void.
func (w *Walk) tied(s *watchdog.Snapshot) {
	if s.Judged && s.Void && !w.void {
		w.say(Saying{Bell: true, Text: "The tracker's tie to the room is VOID: it restarted, or was never aligned. Nothing can be shown until it is tied again: in another terminal, pinfold align --pad. What was ticked off before was shown by the old tie."})
	}
	w.void = s.Judged && s.Void
}

// ready begins the item that is due, once nothing is latched.
func (w *Walk) ready() {
	if w.phase == armed {
		return
	}
	w.phase, w.due, w.known, w.wire, w.hit, w.said = armed, true, nil, nil, nil, ""
	w.Again()
}

// Again says the prompt once more.
func (w *Walk) Again() {
	if !w.Done() && w.phase == armed {
		w.say(Saying{Prompt: true, Bell: true, Text: w.prompt()})
	}
}

// Repeat is Again as a call of its own.
func (w *Walk) Repeat() Out {
	w.Again()
	if w.phase != armed && w.said != "" {
		w.say(Saying{Text: w.said})
	}
	return w.take()
}

func (w *Walk) knows(c *watchdog.Cause) bool {
	for i := range w.known {
		if k := &w.known[i]; k.Kind == c.Kind && k.Name == c.Name {
			return true
		}
	}
	return false
}

// called looks at a cause that was latched just now.
func (w *Walk) called(c *watchdog.Cause, s *watchdog.Snapshot) {
	if !w.due || w.hit != nil {
		return
	}
	it := w.item()
	if why := w.other(it, c, s); why != "" {
		it.Elsewhere++
		w.say(Saying{Bell: true, Text: "That stop was for something else: " + why + ". It is not ticked off."})
		return
	}
	w.hit = &hit{cause: *c, at: s.At, snap: *s}
}

// confirm ticks the item off once the command of its stop was heard.
func (w *Walk) confirm(s *watchdog.Snapshot) {
	if w.hit == nil {
		return
	}
	for i := range w.wire {
		if c := &w.wire[i]; c.Cause == w.hit.cause.Word && c.Name == w.hit.cause.Name {
			w.tick(c)
			return
		}
	}
	if s.At-w.hit.at > hearWithin {
		w.hit = nil
		w.item().Elsewhere++
		w.say(Saying{Bell: true, Text: fmt.Sprintf("The guard called the stop, but its command was not heard on the broker within %v. It is not ticked off.", hearWithin)})
	}
}

// Hear takes a command that a bystander heard on the broker.
func (w *Walk) Hear(c Command) Out {
	const most = 64 // a stranger may send more
	if len(w.wire) < most {
		w.wire = append(w.wire, c)
	}
	if w.hit != nil {
		w.confirm(&w.hit.snap)
	}
	return w.take()
}

// tick measures, and goes on to the next item.
func (w *Walk) tick(c *Command) {
	it, s := w.item(), &w.hit.snap
	it.Outcome, it.After, it.Speed = Walked, round(c.After, 1), round(s.Speed, 3)
	if it.edges {
		it.Distance = round(w.distance(it, s), 3)
		if !(it.Distance > 0) {
			it.Outcome = Late
		}
	} else {
		it.Value = round(w.value(it, s), 3)
		predicted := it.Kind == Limit && (watchdog.LimitID(it.limit) == watchdog.LimitHeight || watchdog.LimitID(it.limit) == watchdog.LimitDistance)
		if predicted && w.cfg.Stopping.Predict && !(it.Value <= it.Max) {
			it.Outcome = Late
		}
	}
	w.hit, w.due, w.out.Ticked = nil, false, true
	w.say(Saying{Bell: true, Text: w.ticked(it)})
	w.next()
	if w.Done() {
		w.say(Saying{Bell: true, Text: "That was the last one."})
	}
}

// Skip leaves the item that is due out. A reason is asked for.
func (w *Walk) Skip(why string) (Out, error) {
	why = strings.TrimSpace(why)
	switch {
	case w.Done():
		return w.take(), errors.New("there is nothing left to skip")
	case why == "":
		return w.take(), errors.New("a skip needs its reason, which is kept in the list: type skip and why")
	case len(why) > MaxWhy:
		return w.take(), fmt.Errorf("the reason is %d bytes long, at most %d are kept: say it shorter", len(why), MaxWhy)
	}
	it := w.item()
	it.Outcome, it.Why = Skipped, why
	w.hit, w.due, w.out.Ticked = nil, w.phase == armed, true
	w.say(Saying{Text: fmt.Sprintf("%d is skipped: %s", it.No, why)})
	w.next()
	w.Again()
	return w.take(), nil
}

// bringBack says what is still in the way of the next item, and asks for the
// reset once nothing is.
func (w *Walk) bringBack(s *watchdog.Snapshot) {
	why := append([]string(nil), s.Blocked...)
	for i := range s.Causes {
		if c := &s.Causes[i]; w.stops(c) && len(why) == 0 {
			why = append(why, c.Text)
		}
	}
	if len(why) == 0 {
		if s.Nonce != w.asked {
			w.asked, w.out.Reset = s.Nonce, s.Nonce
		}
		return
	}
	text := "Step back inside, away from the edge, and hold it level and still."
	if w.void {
		text = "Waiting for the tracker to be aligned."
	} else if s.Trust != 0 {
		text = "Hold it still: the pose is not to be trusted yet."
	}
	if text != w.said && (w.said == "" || s.At-w.saidAt > sayEvery) {
		w.said, w.saidAt = text, s.At
		w.say(Saying{Text: text})
	}
}

// sayEvery is the least time between two words about being brought back, so that
// a pose that comes and goes does not fill the screen.
const sayEvery = 3 * time.Second

// stops says whether a cause that holds would call the stop again at once.
func (w *Walk) stops(c *watchdog.Cause) bool {
	if c.Kind >= watchdog.CauseHeight && c.Kind <= watchdog.CauseSession {
		return w.cfg.Limits[c.Kind-watchdog.CauseHeight].Answer >= watchdog.ActStop
	}
	return c.Kind != watchdog.CauseTrailDown
}

func round(v, n float64) float64 {
	p := math.Pow(10, n)
	if r := math.Round(v*p) / p; !math.IsNaN(r) && !math.IsInf(r, 0) {
		return r
	}
	return 0
}

// distance is from the body's outside to the item's edge, m, by the pose; it is
// negative where the body's centre is past it.
func (w *Walk) distance(it *Item, s *watchdog.Snapshot) float64 {
	p := s.Pose.Position
	half := w.cfg.Height / 2
	switch {
	case it.Kind == Side:
		d := apart(it.way, zones.XY{X: p.X, Y: p.Y})
		if !w.cfg.Zones.Inside(zones.XYZ{X: p.X, Y: p.Y, Z: math.Max(p.Z, w.cfg.Ground)}) {
			d = -d
		}
		return d - w.cfg.Radius
	case (it.Kind == Ceiling) != it.out: // it is above
		return it.z - p.Z - half
	}
	return p.Z - half - it.z
}
