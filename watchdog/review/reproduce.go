package review

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"pinfold/config"
	"pinfold/watchdog"
	"pinfold/watchdog/intake"
	"pinfold/watchdog/trail"
)

// Reproduction says whether the core, given a session's intake again, came to
// the decisions that stand in its trail.
type Reproduction struct {
	Session string `json:"session"`
	Version string `json:"version"` // of the program that ran it
	Steps   uint64 `json:"steps"`   // of the core
	Records uint64 `json:"records"` // compared
	Same    bool   `json:"same"`
	// First is the first difference, empty where Same.
	First string `json:"first_difference,omitempty"`
	// Sealed is false of a session that is still being written, or whose guard
	// was killed. Its intake is written once a second and its records at once, so
	// that records may stand after the end of the intake, and the last write may
	// have been torn. Neither is a difference.
	Sealed     bool    `json:"sealed"`
	IntakeEnds float64 `json:"intake_ends_s"`         // s, session instant of its last item
	Beyond     uint64  `json:"records_beyond_intake"` // cannot be judged again
	Unwritten  uint64  `json:"records_unwritten"`     // called for by the intake, after the last line
	// Problem is the first thing that is wrong with the trail; empty: it holds. A
	// trail that was written anew as a whole gives the same decisions.
	Problem string `json:"trail_problem,omitempty"`
}

// Reproduce steps the core through a session's intake with the site files the
// session was run with, and compares every record, byte for byte.
func Reproduce(folder string) (*Reproduction, error) {
	r, err := trail.Open(folder)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	a, err := prepare(r)
	if err != nil {
		return nil, err
	}
	out, err := a.run(r)
	if err == nil {
		out.Problem, err = wrong(folder)
	}
	return out, err
}

// prepare reads what the guards of a session are made from.
func prepare(r *trail.Reader) (*again, error) {
	if d := driftOf(r); d != nil {
		return nil, &DriftError{d}
	}
	a := &again{meta: r.Meta(), written: map[string][]written{}, left: map[string]float64{}, at: map[string]int{}}
	if err := a.load(r); err != nil {
		return nil, err
	}
	return a, r.Events(a.line)
}

// run makes the guards and steps them through the intake.
func (a *again) run(r *trail.Reader) (*Reproduction, error) {
	if err := a.guardAll(); err != nil {
		return nil, err
	}
	if err := r.Items(a.item); err != nil {
		return nil, err
	}
	return a.finish(), nil
}

// written is one record of the core as it stands in the trail.
type written struct {
	kind string
	at   time.Duration
	body []byte
	line uint64
}

// again steps the guards of a session again.
type again struct {
	meta  trail.Meta
	site  *config.Site
	seeds map[string][]byte
	// motorsOff, by vehicle: it was carried along its edges.
	motorsOff map[string]bool
	guards    []*watchdog.Guard
	configs   []watchdog.Config
	written   map[string][]written
	left      map[string]float64 // by vehicle and command, s, when it left for the broker
	at        map[string]int     // records compared, by vehicle
	last      []time.Duration    // of the intake, by vehicle
	out       Reproduction
	// each, where not nil, is told of every step; what it is given is only valid
	// until the next.
	each func(step) error
}

// step is one step of one vehicle's guard.
type step struct {
	vehicle int
	item    *trail.Item
	guard   *watchdog.Guard
	before  watchdog.Level // as of the step before
	due     time.Duration  // of the guard, as of the step before
	nonce   string         // the one in force before, where item is a request or an alignment
	effects []watchdog.Effect
}

// load parses the site from the session's own copies.
func (a *again) load(r *trail.Reader) error {
	a.out.Session = a.meta.Session
	a.seeds, a.motorsOff = map[string][]byte{}, map[string]bool{}
	var files []config.File
	for _, f := range a.meta.Files {
		data, err := r.File(f.Name)
		if err != nil {
			return err
		}
		files = append(files, config.File{Name: f.Name, Data: data})
	}
	var err error
	a.site, err = siteOf(files)
	return err
}

// siteOf parses a site from files that were once loaded; the first is the site
// file.
func siteOf(files []config.File) (*config.Site, error) {
	if len(files) == 0 {
		return nil, errors.New("review: the session holds no site file")
	}
	return config.Parse(files[0].Name, files[0].Data, func(name string) ([]byte, error) {
		for _, f := range files {
			if intake.FileName(f.Name) == intake.FileName(name) {
				return f.Data, nil
			}
		}
		return nil, nil // a password or certificate: it need not exist any more
	})
}

// coreKinds are the records that only the core writes.
func coreKind(kind string) bool {
	switch watchdog.RecordKind(kind) {
	case watchdog.RecLevel, watchdog.RecOpen, watchdog.RecEpisode, watchdog.RecCommand, watchdog.RecAck,
		watchdog.RecStopped, watchdog.RecRequest, watchdog.RecFault, watchdog.RecLink, watchdog.RecConfig, watchdog.RecAlign, watchdog.RecClose:
		return true
	}
	return false
}

func (a *again) line(l trail.Line) error {
	switch {
	case coreKind(l.Kind):
		a.written[l.Vehicle] = append(a.written[l.Vehicle],
			written{kind: l.Kind, at: l.At, body: bytes.Clone(l.Body), line: l.Seq})
	case l.Kind == trail.KindSeal:
		a.out.Sealed = true
	case l.Kind == "left":
		var b struct {
			ID string `json:"id"`
		}
		if err := json.Unmarshal(l.Body, &b); err != nil {
			return fmt.Errorf("review: line %d of the trail: %w", l.Seq, err)
		}
		a.left[l.Vehicle+"\x00"+b.ID] = l.At.Seconds()
	case l.Kind == "guard":
		var b struct {
			Seed      string `json:"nonce_seed"`
			MotorsOff bool   `json:"motors_off"`
		}
		if err := json.Unmarshal(l.Body, &b); err != nil {
			return fmt.Errorf("review: line %d of the trail: %w", l.Seq, err)
		}
		seed, err := hex.DecodeString(b.Seed)
		if err != nil {
			return fmt.Errorf("review: line %d of the trail: the seed: %w", l.Seq, err)
		}
		a.seeds[l.Vehicle], a.motorsOff[l.Vehicle] = seed, b.MotorsOff
	}
	return nil
}

func (a *again) guardAll() error {
	for _, name := range a.meta.Vehicles {
		cfg, err := a.config(a.site, name)
		if err != nil {
			return err
		}
		g, err := watchdog.New(cfg)
		if err != nil {
			return err
		}
		a.guards, a.configs, a.last = append(a.guards, g), append(a.configs, cfg), append(a.last, -1)
	}
	return nil
}

func (a *again) config(s *config.Site, name string) (watchdog.Config, error) {
	v, ok := s.Vehicle(name)
	if !ok {
		return watchdog.Config{}, fmt.Errorf("review: the session's site file has no vehicle %q", name)
	}
	cfg := v.Config
	cfg.Session, cfg.Hash = a.meta.Session, s.Hash
	cfg.Pose.WallZero = a.meta.Started.UnixNano()
	cfg.MotorsOff = a.motorsOff[name]
	if copy(cfg.NonceSeed[:], a.seeds[name]) != len(cfg.NonceSeed) {
		return cfg, fmt.Errorf("review: the trail does not hold the seed of %q: its session was not begun", name)
	}
	return cfg, nil
}

func (a *again) item(it *trail.Item) error {
	if int(it.Vehicle) >= len(a.guards) {
		return fmt.Errorf("review: the intake names vehicle %d of %d", it.Vehicle, len(a.guards))
	}
	g := a.guards[it.Vehicle]
	before, due, nonce := g.Level(), g.Deadline(), ""
	if a.each != nil && (it.Kind == uint8(watchdog.EvRequest) || it.Kind == uint8(watchdog.EvAlign)) {
		nonce = g.Snapshot().Nonce
	}
	a.out.Steps++
	a.last[it.Vehicle] = it.At
	a.out.IntakeEnds = max(a.out.IntakeEnds, it.At.Seconds())
	var effects []watchdog.Effect
	if it.Kind == intake.KindConfig {
		var err error
		if effects, err = a.tighten(int(it.Vehicle), it); err != nil {
			return err
		}
	} else {
		e := intake.Entry{Kind: it.Kind, Flags: it.Flags, Arrived: it.Arrived, Payload: it.Payload}
		ev, err := e.Event()
		if err != nil {
			return fmt.Errorf("review: the intake: %w", err)
		}
		effects = g.Step(&ev, it.At)
	}
	for i := range effects {
		if effects[i].Kind == watchdog.DoRecord {
			a.compare(a.meta.Vehicles[it.Vehicle], &effects[i].Record)
		}
	}
	if a.each != nil {
		return a.each(step{vehicle: int(it.Vehicle), item: it, guard: g, before: before, due: due, nonce: nonce, effects: effects})
	}
	return nil
}

func (a *again) tighten(i int, it *trail.Item) ([]watchdog.Effect, error) {
	var files []config.File
	if err := json.Unmarshal(it.Payload, &files); err != nil {
		return nil, fmt.Errorf("review: the intake: a new site: %w", err)
	}
	s, err := siteOf(files)
	if err != nil {
		return nil, err
	}
	cfg, err := a.config(s, a.meta.Vehicles[i])
	if err != nil {
		return nil, err
	}
	return a.guards[i].Tighten(cfg, it.At)
}

// compare holds one record against the trail.
func (a *again) compare(vehicle string, r *watchdog.Record) {
	if a.out.First != "" {
		return
	}
	i := a.at[vehicle]
	a.at[vehicle]++
	if i >= len(a.written[vehicle]) && !a.out.Sealed {
		a.out.Unwritten++
		return
	}
	a.out.Records++
	if i >= len(a.written[vehicle]) {
		a.out.First = fmt.Sprintf("%s: the core now says %s at %v, and the trail ends before", vehicle, r.Kind, r.At)
		return
	}
	w := &a.written[vehicle][i]
	body := trail.Body(r.Body)
	if w.kind != string(r.Kind) || w.at != r.At || !bytes.Equal(body, w.body) {
		a.out.First = fmt.Sprintf("%s: line %d of the trail says %s at %v %s; the core now says %s at %v %s",
			vehicle, w.line, w.kind, w.at, w.body, r.Kind, r.At, body)
	}
}

func (a *again) finish() *Reproduction {
	for i, v := range a.meta.Vehicles {
		for at := a.at[v]; a.out.First == "" && at < len(a.written[v]); at++ {
			w := &a.written[v][at]
			if !a.out.Sealed && w.at > a.last[i] {
				a.out.Beyond++
				continue
			}
			a.out.First = fmt.Sprintf("%s: line %d of the trail says %s; the core now says nothing", v, w.line, w.kind)
		}
	}
	if a.out.First == "" && a.out.Records == 0 {
		a.out.First = "there is no record that could be compared"
	}
	a.out.Same, a.out.Version = a.out.First == "", a.meta.Version
	return &a.out
}
