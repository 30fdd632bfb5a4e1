package app

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"pinfold/config"
	"pinfold/watchdog/trail"
)

// reload reads the site file again and takes it where it is tighter. It says
// that it is in force only when every loop has taken it. It has a goroutine of
// its own, since neither the file nor the disk may hold up a stop; once ctx is
// done it does nothing more, and what it read is left.
func (r *runner) reload(ctx context.Context) {
	r.notify(Notifier.Reloading)
	defer func() {
		if ctx.Err() == nil {
			r.notify(Notifier.Ready)
		}
	}()
	next, payload, err := r.loadTighter()
	if ctx.Err() != nil {
		return
	}
	if err != nil {
		r.tellSite(notTaken + oneLine(err))
		r.say(Line{At: r.now(), Weight: Caution, Text: "the new site file is " + notTaken + oneLine(err)})
		r.trail.Event("", "reload", r.now(), map[string]any{"taken": false, "why": err.Error()})
		r.countReload(false)
		return
	}
	r.realign(ctx, next)
	for _, k := range r.keepers {
		err := k.ask(ctx, order{tighten: next, payload: payload})
		if ctx.Err() != nil {
			return
		}
		if err != nil {
			r.tellSite("not taken by the guard of " + k.cfg.Vehicle + ": " + oneLine(err))
			r.say(Line{At: r.now(), Weight: Caution, Vehicle: k.cfg.Vehicle, Text: "the new site file is not taken by this vehicle's guard: " + oneLine(err)})
			r.trail.Event(k.cfg.Vehicle, "reload", r.now(), map[string]any{"taken": false, "why": err.Error()})
			r.countReload(false)
			return
		}
	}
	r.opt.Site = next
	r.countReload(true)
	r.tellSite("taken: " + next.Hash)
	r.opt.page.SetSite(r.pageSite())
	r.trail.Event("", "reload", r.now(), map[string]any{"taken": true, "site": next.Hash})
	r.say(Line{At: r.now(), Text: "the new site file is in force: " + next.Hash})
}

// notTaken begins what is said of a site file that is refused.
const notTaken = "not taken, the old one stays in force: "

// tellSite has every vehicle's next state say what became of a reload.
func (r *runner) tellSite(text string) { r.siteSaid.Store(&text) }

// oneLine is err on one line: a site file has all its problems named at once.
func oneLine(err error) string { return strings.ReplaceAll(err.Error(), "\n", "; ") }

func (r *runner) loadTighter() (*config.Site, []byte, error) {
	if r.opt.Load == nil {
		return nil, nil, fmt.Errorf("there is no site file to read again")
	}
	next, err := r.opt.Load()
	if err != nil {
		return nil, nil, err
	}
	if err := config.Tighter(r.opt.Site, next); err != nil {
		return nil, nil, err
	}
	payload, err := json.Marshal(next.Files)
	if err != nil {
		return nil, nil, fmt.Errorf("app: the site's files: %w", err)
	}
	if len(payload) > trail.MaxPayload {
		return nil, nil, fmt.Errorf("its files are too large to be taken while running (%d bytes, at most %d); stop, then start with it", len(payload), trail.MaxPayload)
	}
	return next, payload, nil
}

// reloadWait is how long a loop may take to judge by a new site and have it on
// disk.
const reloadWait = 5 * time.Second

// ask hands o to the loop and waits for its answer, until ctx is done.
func (k *keeper) ask(ctx context.Context, o order) error {
	answer := make(chan error, 1)
	o.answer = answer
	over := time.NewTimer(reloadWait)
	defer over.Stop()
	select {
	case k.orders <- o:
	case <-ctx.Done():
		return ctx.Err()
	case <-over.C:
		return errors.New("its loop does not take orders")
	}
	select {
	case err := <-answer:
		return err
	case <-ctx.Done():
		return ctx.Err()
	case <-over.C:
		return fmt.Errorf("its record was not on disk within %v", reloadWait)
	}
}
