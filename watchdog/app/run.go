package app

import (
	"cmp"
	"context"
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"strings"
	"sync/atomic"
	"syscall"
	"time"

	"pinfold/watchdog"
	"pinfold/watchdog/console/metrics"
	"pinfold/watchdog/intake"
	"pinfold/watchdog/link"
	"pinfold/watchdog/link/wire"
	"pinfold/watchdog/trail"
)

// Run guards every vehicle of the site until ctx is done, then stops them and
// closes the session. What could be started is taken down again when the rest
// cannot be.
func Run(ctx context.Context, o Options) (Result, error) {
	if o.Site == nil || len(o.Site.Vehicles) == 0 {
		return Result{}, errors.New("app: no vehicle to guard")
	}
	if o.Wall == nil {
		o.Wall = time.Now
	}
	start := time.Now()
	r := &runner{opt: o, start: o.Wall(), now: func() time.Duration { return time.Since(start) }}
	if err := r.open(); err != nil {
		return Result{}, err
	}
	return r.guard(ctx)
}

// runner owns the lifecycle of one session.
type runner struct {
	opt     Options
	start   time.Time // the wall clock at the session's instant zero
	now     func() time.Duration
	session Session
	trail   *trail.Writer
	heart   *heart
	names   []string // of the vehicles, in the order of their loops
	keepers []*keeper
	mails   []*mail    // of the keepers; made before the trail, which tells them of its health
	ended   chan error // one value a loop
	ending  atomic.Bool

	metrics     *metrics.Set // nil: nobody reads
	stopMetrics func()

	siteSaid atomic.Pointer[string] // what became of the last reload, for the states

	trailSaid           atomic.Pointer[string] // what a person should know of the trail, for the states
	trailErr, trailWarn string                 // as they were said; of the trail's own goroutine
	trailSteps          uint64                 // of the wall clock, as they were said
}

// open makes the trail, then one keeper a vehicle.
func (r *runner) open() error {
	id, err := random(8)
	if err != nil {
		return err
	}
	r.session.ID = hex.EncodeToString(id)
	for range r.opt.Site.Vehicles {
		r.mails = append(r.mails, newMail())
	}
	for i := range r.opt.Site.Vehicles {
		r.names = append(r.names, r.opt.Site.Vehicles[i].Name)
	}
	if err := r.openConsole(); err != nil {
		return err
	}
	if err := r.openTrail(); err != nil {
		r.opt.page.Close()
		return err
	}
	r.heart = newHeart(r.opt.Notify, len(r.opt.Site.Vehicles), func(err error) {
		r.say(Line{At: r.now(), Weight: Alarm, Text: "the service manager cannot be told that the guard is alive: " + err.Error()})
	})
	if err := r.openMetrics(); err != nil {
		r.abandon()
		return err
	}
	for i := range r.opt.Site.Vehicles {
		if err := r.addKeeper(i); err != nil {
			r.abandon()
			return err
		}
	}
	return nil
}

func (r *runner) openTrail() error {
	s := r.opt.Site
	dir, key := s.Trail.Dir, s.Trail.KeyFile
	if r.opt.TrailDir != "" {
		dir, key = r.opt.TrailDir, filepath.Join(r.opt.TrailDir, "trail.key")
	}
	t := trail.Options{Dir: dir, Session: r.session.ID, Guard: s.Guard, Site: s.Name, Version: r.opt.Version,
		Started: r.start, Wall: r.opt.Wall, KeyFile: key, IsStop: isStop, MaxBytes: s.Trail.MaxBytes, OnStatus: r.trailStatus}
	for i := range s.Vehicles {
		t.Vehicles = append(t.Vehicles, s.Vehicles[i].Name)
	}
	for _, f := range s.Files {
		t.Files = append(t.Files, trail.File{Name: intake.FileName(f.Name), Data: f.Data})
	}
	w, err := trail.Create(t)
	if err != nil {
		return fmt.Errorf("no trail, so no start: %w%s", err, roomHint(err))
	}
	r.trail = w
	st := w.Status()
	r.session.Folder, r.session.Key = st.Folder, st.Public
	return nil
}

// roomHint says what to do where a disk is full or takes nothing.
func roomHint(err error) string {
	const elsewhere = "name a folder elsewhere: dir in [trail], or --trail"
	switch {
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		return "; free some of the disk, or " + elsewhere
	case errors.Is(err, syscall.EROFS), errors.Is(err, fs.ErrPermission), errors.Is(err, syscall.ENOTDIR):
		return "; run as a user who may write there, or " + elsewhere
	}
	return ""
}

// isStop says whether a record makes its session one that is worth keeping for
// the stop in it. Every session that ends in good order has the stop of its
// closing, which is none of that kind.
func isStop(kind string, body []byte) bool {
	if kind == "panic" {
		return true
	}
	var c watchdog.CommandSent
	return kind == string(watchdog.RecCommand) &&
		(json.Unmarshal(body, &c) != nil || c.Cause.Word != watchdog.CauseClosing.String())
}

// trailStatus is told by the trail's own goroutine.
func (r *runner) trailStatus(s trail.Status) {
	for _, m := range r.mails {
		m.setTrail(s.OK)
	}
	if !s.OK && s.Err != r.trailErr {
		r.say(Line{At: r.now(), Weight: Alarm, Text: "the trail cannot be written: " + strings.TrimPrefix(s.Err, "cannot be written: ")})
	}
	switch {
	case s.Warn == r.trailWarn:
	case s.Warn == "":
		r.say(Line{At: r.now(), Text: "the trail has room again"})
	default:
		r.say(Line{At: r.now(), Weight: Caution, Text: "caution: " + s.Warn})
	}
	step := ""
	if s.Steps > 0 {
		step = fmt.Sprintf("the wall clock was stepped by %+.3f s: folders and annotations bear the new time; nothing is judged by it", s.Stepped.Seconds())
	}
	if s.Steps != r.trailSteps {
		r.say(Line{At: r.now(), Weight: Caution, Text: "caution: " + step})
	}
	r.trailErr, r.trailWarn, r.trailSteps = s.Err, s.Warn, s.Steps
	said := cmp.Or(s.Err, s.Warn, step)
	r.trailSaid.Store(&said)
}

func (r *runner) addKeeper(i int) error {
	v := &r.opt.Site.Vehicles[i]
	k := &keeper{index: i, cfg: v.Config, trail: r.trail, mail: r.mails[i], orders: make(chan order),
		now: r.now, opt: &r.opt, siteSaid: &r.siteSaid, trailSaid: &r.trailSaid,
		screen: r.opt.page.Screen(i)}
	k.metrics, k.fellows = r.metrics, newFellows(r.opt.Site.Fellows)
	k.beat = func(now time.Duration) {
		r.heart.beat(i, now)
		if r.metrics != nil {
			r.metrics.Beat(i, now)
		}
	}
	k.mail.want(k.cfg.Others)
	for o, m := range r.mails {
		if o != i {
			k.tell = append(k.tell, m)
		}
	}
	k.cfg.Session, k.cfg.Hash = r.session.ID, r.opt.Site.Hash
	k.cfg.Pose.WallZero = r.start.UnixNano()
	k.cfg.MotorsOff = r.opt.MotorsOff
	k.tying.looked = k.cfg.Tie.Hash
	seed, err := random(len(k.cfg.NonceSeed))
	if err != nil {
		return err
	}
	copy(k.cfg.NonceSeed[:], seed)
	if k.guard, err = watchdog.New(k.cfg); err != nil {
		return err
	}
	if k.inbox, err = newInbox(); err != nil {
		return err
	}
	if k.topics, err = wire.Topics(r.opt.Site.Broker.Prefix, v.Name); err != nil {
		return err
	}
	if k.signing, err = newSigning(&v.Signing, &k.topics); err != nil {
		return err
	}
	r.trail.Event(v.Name, "guard", r.now(), begun{hex.EncodeToString(seed), r.opt.Site.Hash, r.opt.MotorsOff})
	err = r.connect(k)
	if k.client != nil { // abandon closes it
		r.keepers = append(r.keepers, k)
	}
	return err
}

// begun is the body of a guard's first record: what judging the session again
// needs beside the site file.
type begun struct {
	Seed      string `json:"nonce_seed"`
	Site      string `json:"site"` // hash of the site file
	MotorsOff bool   `json:"motors_off,omitempty"`
}

// connect makes the vehicle's own connection, so that one that is made anew
// disturbs no other vehicle.
func (r *runner) connect(k *keeper) (err error) {
	o, err := LinkOptions(&r.opt.Site.Broker)
	if err != nil {
		return err
	}
	o.ClientID = clientID("pinfold-" + k.cfg.Vehicle)
	o.Now = r.now
	o.Will = link.Will{Topic: k.topics.AllCommand, Payload: k.will()}
	o.OnLink = r.onLink(k)
	probes := wire.ProbeTopic(r.opt.Site.Broker.Prefix, r.session.ID, k.cfg.Vehicle)
	o.Subs = []link.Sub{
		{Topic: k.topics.Pose, QoS: 0, Inbox: k.inbox, ID: subPose},
		{Topic: k.topics.Ack, QoS: 0, Inbox: k.inbox, ID: subAck},
		{Topic: k.topics.Request, QoS: 1, Inbox: k.inbox, ID: subRequest},
		{Topic: k.topics.Permit, QoS: 0, Inbox: k.inbox, ID: subPermit},
		{Topic: k.topics.Align, QoS: 1, Inbox: k.inbox, ID: subAlign},
		{Topic: probes, QoS: 0, Inbox: k.inbox, ID: subTrip},
	}
	if k.client, err = link.Dial(o); err != nil {
		return err
	}
	if k.permit, err = k.client.Slot(k.topics.Permit, 0, false); err != nil {
		return err
	}
	if k.command, err = k.client.Slot(k.topics.Command, 0, false); err != nil {
		return err
	}
	k.command.OnLeft(k.commandLeft)
	if k.probes, err = k.client.Slot(probes, 0, false); err != nil {
		return err
	}
	return r.connectDisplay(k, o)
}

// connectDisplay makes what carries the state: with a broker of one node the
// vehicle's connection; with several one of its own, since a node that waits for
// the others before it confirms a state holds all that its connection sends after
// it, permits included (docs/link.md).
func (r *runner) connectDisplay(k *keeper, o link.Options) (err error) {
	k.display = k.client
	if len(o.More) > 0 {
		o.ClientID, o.Will, o.Subs, o.OnLink = clientID("pinfold-state-"+k.cfg.Vehicle), link.Will{}, nil, nil
		d, err := link.Dial(o)
		if err != nil {
			return err
		}
		k.display = d
	}
	k.state, err = k.display.Slot(k.topics.State, 1, true)
	return err
}

// clientID cuts what begins a client id to what a broker must take: a vehicle's
// name may be longer.
func clientID(s string) string { return s[:min(len(s), link.MaxClientID)] }

// hangUp leaves the broker.
func (k *keeper) hangUp() {
	if k.display != nil && k.display != k.client {
		_ = k.display.Close(lastWord) // its last state has left or is of no more use
	}
	k.client.Close(lastWord)
}

// onLink tells the vehicle's loop of the link, and a person why it went, each
// reason once an outage, and when it is back.
func (r *runner) onLink(k *keeper) func(up bool, why string) {
	was, said := false, map[string]bool{}
	url := r.opt.Site.Broker.Addresses() // a reload puts another site there, from another goroutine
	return func(up bool, why string) {
		k.mail.setLink(up)
		if r.metrics != nil {
			r.metrics.Link(k.index, up)
		}
		quiet := r.ending.Load() || was && why == renewal
		was = up
		switch {
		case up && len(said) > 0:
			clear(said)
			r.say(Line{At: r.now(), Vehicle: k.cfg.Vehicle, Text: "the broker is back"})
		case !up && !quiet && !said[why] && len(said) < maxReasons:
			said[why] = true
			text := "no link to the broker at " + url + " (" + why + "); trying on"
			if hint := LinkHint(why); hint != "" {
				text += ". Next: " + hint
			}
			r.say(Line{At: r.now(), Weight: Alarm, Vehicle: k.cfg.Vehicle, Text: text})
		}
	}
}

// maxReasons is how many reasons are said in one outage: a network that fails in
// turns must not fill the log.
const maxReasons = 8

// guard runs the loops until ctx is done or one of them fails.
func (r *runner) guard(ctx context.Context) (Result, error) {
	r.waitLink(ctx)
	r.ended = make(chan error, len(r.keepers))
	for _, k := range r.keepers {
		go func() { r.ended <- k.run() }()
	}
	r.say(Line{At: r.now(), Text: "watching; trail in " + r.session.Folder})
	r.serveConsole()
	if r.opt.Ready != nil {
		r.opt.Ready(r.session)
	}
	r.notify(Notifier.Ready)
	running, failed := r.watch(ctx)
	r.notify(Notifier.Stopping)
	return r.close(failed, running)
}

// waitLink gives the broker a moment, so that an ordinary start does not begin
// with a lost link.
func (r *runner) waitLink(ctx context.Context) {
	until := time.NewTimer(linkWait)
	defer until.Stop()
	for _, k := range r.keepers {
		for !k.client.Up() {
			select {
			case <-ctx.Done():
				return
			case <-until.C:
				r.lostAtStart()
				return
			case <-time.After(5 * time.Millisecond):
			}
		}
	}
}

// lostAtStart tells the loops whose link is not up; one that comes up meanwhile
// says so itself, later.
func (r *runner) lostAtStart() {
	for _, k := range r.keepers {
		if !k.client.Up() {
			k.mail.setLink(false)
			r.say(Line{At: r.now(), Weight: Alarm, Vehicle: k.cfg.Vehicle,
				Text: "no broker at " + r.opt.Site.Broker.Addresses() + " yet: nothing is permitted; trying on"})
		}
	}
}

// watch waits for the end, taking reloads meanwhile, one at a time. It says how
// many loops are still running.
func (r *runner) watch(ctx context.Context) (running int, failed error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	asked, done := r.opt.Reload, make(chan struct{}, 1)
	for {
		select {
		case <-ctx.Done():
			return len(r.keepers), nil
		case err := <-r.ended:
			return len(r.keepers) - 1, err
		case e := <-r.opt.Evidence:
			r.sign(&e)
		case <-asked:
			asked = nil // the next one waits
			go func() { r.reload(ctx); done <- struct{}{} }()
		case <-done:
			asked = r.opt.Reload
		}
	}
}

// sign puts a record of the caller's into the trail.
func (r *runner) sign(e *Evidence) {
	answer := e.Answer
	if err := r.trail.Signed(e.Vehicle, e.About, r.now(), e.Record, func(failed bool) { answer <- notDurable(failed) }); err != nil {
		answer <- err
	}
}

// close stops every vehicle that still has a loop, all at once, then seals the
// trail, and only then leaves the broker.
func (r *runner) close(failed error, running int) (Result, error) {
	r.ending.Store(true)
	answer := make(chan error, len(r.keepers))
	for _, k := range r.keepers {
		go k.order(order{close: "the guard was told to end", answer: answer})
	}
	for ; running > 0; running-- {
		if err := <-r.ended; failed == nil {
			failed = err
		}
	}
	for _, k := range r.keepers {
		k.withdraw()
	}
	r.opt.page.Close()
	r.heart.stop()
	res := Result{Session: r.session}
	sealed, err := r.trail.Close(trailClose)
	res.Head = sealed.Head
	for _, k := range r.keepers {
		k.hangUp()
	}
	r.closeMetrics()
	if failed != nil {
		return res, failed
	}
	if err != nil {
		return res, fmt.Errorf("the vehicles were stopped, but the trail could not be sealed: %w", err)
	}
	return res, nil
}

// order hands o to the loop, if it still runs.
func (k *keeper) order(o order) {
	select {
	case k.orders <- o:
	case <-time.After(linkWait):
	}
}

// abandon takes down what a failed start has made.
func (r *runner) abandon() {
	for _, k := range r.keepers {
		k.hangUp()
	}
	r.closeMetrics()
	r.opt.page.Close()
	r.heart.stop()
	_, _ = r.trail.Close(trailClose) // the start has failed already, and says why
}

func (r *runner) say(l Line) { r.opt.tell(l) }

func (r *runner) notify(what func(Notifier) error) {
	if r.opt.Notify == nil {
		return
	}
	if err := what(r.opt.Notify); err != nil {
		r.say(Line{At: r.now(), Weight: Caution, Text: "the service manager does not hear: " + err.Error()})
	}
}

func random(n int) ([]byte, error) {
	b := make([]byte, n)
	if _, err := rand.Read(b); err != nil {
		return nil, fmt.Errorf("app: no random numbers from the system: %w", err)
	}
	return b, nil
}
