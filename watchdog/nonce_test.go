package watchdog

import (
	"strings"
	"testing"
	"time"
)

// TestHeldRequestDoesNothing: a start that somebody held back on its way is good as
// long as its nonce is, and no longer; and no longer than to the next stop that is
// asked for.
func TestHeldRequestDoesNothing(t *testing.T) {
	for _, c := range []struct {
		name  string
		held  func(r *rig)
		taken bool
	}{
		{"not at all", func(*rig) {}, true},
		{"for as long as a nonce may be", func(r *rig) { r.still(NonceFor - 10*time.Millisecond) }, true},
		{"for longer", func(r *rig) { r.still(NonceFor + 10*time.Millisecond) }, false},
		{"past a stop and a reset", func(r *rig) {
			r.ask(AskStop)
			r.still(time.Second)
			r.ask(AskReset)
			r.durable()
		}, false},
	} {
		r := newRig(t, testConfig(t))
		for begun := r.nonce(); r.nonce() == begun; { // to where a nonce is new
			r.still(10 * time.Millisecond)
		}
		r.wantLevel(Waiting)
		held := Event{Kind: EvRequest, Ask: AskStart, By: "tester", Nonce: r.nonce()}
		c.held(r)
		var why []string
		for _, h := range bodies[RequestHeard](r.step(held)) {
			why = append(why, h.Why...)
		}
		r.durable()
		if r.g.started != c.taken || !c.taken && !strings.Contains(strings.Join(why, " "), "the nonce is not the one") {
			t.Errorf("a start that was held %s: started %v, refused for %q", c.name, r.g.started, why)
		}
	}
}
