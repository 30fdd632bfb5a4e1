package sim

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"pinfold/watchdog/link/wire"
)

// State is the newest state heard of a vehicle; ok is false before the first.
func (o *Operator) State(vehicle string) (s wire.State, ok bool) {
	o.mu.Lock()
	defer o.mu.Unlock()
	s, ok = o.states[vehicle]
	return s, ok
}

// Wait returns the first state of vehicle, from the newest known on, that is as
// wanted. The error names what was seen last.
func (o *Operator) Wait(ctx context.Context, vehicle string, wanted func(wire.State) bool) (wire.State, error) {
	from := uint64(0)
	for {
		s, n, turned := o.next(vehicle)
		if n > from && wanted(s) {
			return s, nil
		}
		from = n
		select {
		case <-turned:
		case <-ctx.Done():
			return s, fmt.Errorf("sim: operator waited in vain for %s: %w; %s", vehicle, ctx.Err(), describe(s, n))
		}
	}
}

// next is the newest state, how many there were, and what closes with the next.
func (o *Operator) next(vehicle string) (wire.State, uint64, <-chan struct{}) {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.states[vehicle], o.seen[vehicle], o.turned
}

func describe(s wire.State, n uint64) string {
	if n == 0 {
		return "no state was heard; is the watchdog running, and does it know the vehicle?"
	}
	text := "the last state was " + s.Level
	for _, c := range s.Latched {
		text += ", " + c.Cause + " " + c.Name
	}
	if len(s.Blocked) > 0 {
		text += ", blocked: " + strings.Join(s.Blocked, "; ")
	}
	return text
}

// reask is how long a request may go unanswered before it is sent again with
// the nonce of the newest state.
const reask = 700 * time.Millisecond

// Ask sends a request and waits until the state shows what it asks for. A
// *Refused error says what is lacking; any other that ctx ended first. A stop
// or land is granted when the level is at least that.
func (o *Operator) Ask(ctx context.Context, vehicle, ask string) error {
	out, known := o.asks[vehicle]
	if !known {
		return fmt.Errorf("sim: operator %s does not look after %q", o.name, vehicle)
	}
	if !slices.Contains([]string{AskStart, AskStop, AskLand, AskReset}, ask) {
		return fmt.Errorf("sim: operator cannot ask %q; ask start, stop, land or reset", ask)
	}
	s, err := o.Wait(ctx, vehicle, func(wire.State) bool { return true })
	if err != nil {
		return err
	}
	if granted(ask, s) {
		return nil
	}
	for {
		r := wire.Request{Ask: ask, By: o.name, Nonce: s.Nonce}
		out.put(r.Append(nil), reask)
		if s, err = o.answer(ctx, vehicle, ask, s.Nonce); err != nil || granted(ask, s) {
			return err
		}
	}
}

// answer waits for the state that grants or refuses a request made with nonce,
// for reask at the most.
func (o *Operator) answer(ctx context.Context, vehicle, ask, nonce string) (wire.State, error) {
	short, cancel := context.WithTimeout(ctx, reask)
	defer cancel()
	s, err := o.Wait(short, vehicle, func(s wire.State) bool {
		return granted(ask, s) || s.Nonce != nonce && len(refusal(s)) > 0
	})
	switch {
	case err == nil && granted(ask, s):
		return s, nil
	case err == nil:
		return s, &Refused{Vehicle: vehicle, Ask: ask, Blocked: refusal(s)}
	case ctx.Err() != nil:
		return s, err
	}
	return s, nil // unanswered: ask again
}

// refusal is what blocks, but for a request that is still being written down.
func refusal(s wire.State) []string {
	var why []string
	for _, b := range s.Blocked {
		if !strings.Contains(b, "waits for the disk") {
			why = append(why, b)
		}
	}
	return why
}

// granted says whether a state shows what was asked for.
func granted(ask string, s wire.State) bool {
	switch ask {
	case AskStart:
		return s.Level == "clear" || s.Level == "caution"
	case AskReset:
		return s.Level == "waiting"
	case AskLand:
		return s.Level == "land"
	}
	return s.Level == "stop" || s.Level == "land"
}

// Insist asks again and again until the request is granted or ctx ends: it
// waits for the state to be free of obstacles first.
func (o *Operator) Insist(ctx context.Context, vehicle, ask string) error {
	for {
		_, err := o.Wait(ctx, vehicle, func(s wire.State) bool { return granted(ask, s) || len(s.Blocked) == 0 })
		if err != nil {
			return err
		}
		err = o.Ask(ctx, vehicle, ask)
		if _, refused := err.(*Refused); !refused {
			return err
		}
	}
}

// Release resets a vehicle where a stop or land is latched, and starts it. It
// waits for what blocks to pass, until ctx ends.
func (o *Operator) Release(ctx context.Context, vehicle string) error {
	s, err := o.Wait(ctx, vehicle, func(wire.State) bool { return true })
	if err != nil {
		return err
	}
	if halted(s) {
		if err := o.Insist(ctx, vehicle, AskReset); err != nil {
			return err
		}
	}
	return o.Insist(ctx, vehicle, AskStart)
}

// halted says whether the watchdog has a stop or land in force.
func halted(s wire.State) bool { return s.Level == "stop" || s.Level == "land" }
