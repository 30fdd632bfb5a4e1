package receiver

import (
	"encoding/json"
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"pinfold/watchdog/link/wire"
)

// heard is one message as a witness writes it down.
type heard struct {
	kind     string // permit, command, all, junk-permit, junk-command
	payload  []byte
	retained bool
	at       int64

	// of a permit
	session string
	seq     uint64
	yes     bool
	stamp   int64
	valid   float64
	over    bool // it was looked at while it was not fresh
	// of a command
	id string
}

// witness keeps all that was said, and judges a verdict from that alone: it
// knows no session in force and no latch, only what must have been said for a
// vehicle to be allowed to move.
type witness struct{ all []heard }

func (h *heard) fresh(now int64) bool {
	age := now - h.stamp
	return age >= 0 && float64(age) <= h.valid*1e9
}

// indicts says what is wrong with a go at now, empty where it is in order.
func (w *witness) indicts(now int64) string {
	for i := range w.all {
		w.all[i].over = w.all[i].over || !w.all[i].fresh(now)
	}
	for i := range w.all {
		if p := &w.all[i]; p.kind == "permit" && !p.retained && p.yes && !p.over && p.stamp <= p.at && w.covers(i) {
			return ""
		}
	}
	return "no fresh permit covers it"
}

// covers is whether the permit at index i is the newest of its session, a no of
// that session came between the last command and it, and a fresh one between
// the last take-over by another session and it.
func (w *witness) covers(i int) bool {
	p := &w.all[i]
	command, takeOver := -1, -1
	seen := map[string]bool{}
	highest := map[string]uint64{}
	for k := range w.all {
		h := &w.all[k]
		switch {
		case h.kind == "junk-command", h.kind == "all", h.kind == "command" && !seen[h.id]:
			command = k
			seen[h.id] = true
		case h.kind != "permit" || h.retained:
		case h.session == p.session && h.seq > p.seq:
			return false
		case h.session != p.session && !h.yes && h.fresh(h.at) && h.seq > highest[h.session]:
			takeOver = k
		}
		if h.kind == "permit" && !h.retained {
			highest[h.session] = max(highest[h.session], h.seq)
		}
	}
	return w.saidNo(p, command, i, false) && w.saidNo(p, takeOver, i, true)
}

// saidNo is whether a no of p's session and before p came after one index and
// before another.
func (w *witness) saidNo(p *heard, after, before int, fresh bool) bool {
	for k := after + 1; k < before; k++ {
		h := &w.all[k]
		if h.kind == "permit" && !h.retained && h.session == p.session && !h.yes && h.seq < p.seq && (!fresh || h.fresh(h.at)) {
			return true
		}
	}
	return false
}

// world is watchdogs, a bad network and one vehicle.
type world struct {
	t    *rapid.T
	r    *Receiver
	w    witness
	now  int64
	seqs map[string]uint64
	ids  int
	went int
}

func (x *world) permit(session string, yes bool, stamp int64, valid float64) heard {
	x.seqs[session]++
	p := wire.Permit{Guard: "g", Session: session, Seq: x.seqs[session], Go: yes, Stamp: stamp, Valid: valid}
	return heard{kind: "permit", payload: p.Append(nil), session: session, seq: p.Seq, yes: yes, stamp: stamp, valid: valid}
}

func (x *world) newCommand(kind string) heard {
	x.ids++
	c := wire.Command{ID: fmt.Sprint("c", x.ids%40), Action: wire.Stop, Value: math.NaN(), Limit: math.NaN()}
	return heard{kind: kind, payload: c.Append(nil), id: c.ID}
}

// deliver gives a message to the receiver and to the witness.
func (x *world) deliver(h heard) {
	h.at, h.over = x.now, false
	switch h.kind {
	case "permit", "junk-permit":
		x.r.Permit(h.payload, h.retained, h.at)
	case "command", "junk-command":
		ack := x.r.Command(h.payload, h.retained, h.at)
		var a wire.Ack
		if err := json.Unmarshal(ack, &struct{ ID *string }{&a.ID}); h.kind == "command" && (err != nil || a.ID != h.id) {
			x.t.Fatalf("command %s was acknowledged by %q", h.id, ack)
		}
	case "all":
		x.r.AllCommand(h.payload, h.retained, h.at)
	}
	x.w.all = append(x.w.all, h)
	x.judge()
}

func (x *world) judge() {
	v := x.r.MayMove(x.now)
	why := x.w.indicts(x.now)
	if v.Go {
		x.went++
		if why != "" {
			x.t.Fatalf("at %d the vehicle may move: %s", x.now, why)
		}
	} else if v.Action == None || v.Why == "" {
		x.t.Fatalf("at %d: no, without an action or a reason: %+v", x.now, v)
	}
}

func (x *world) step() {
	session := rapid.SampledFrom([]string{"a", "a", "a", "a", "a", "a", "b", "c"}).Draw(x.t, "session")
	switch rapid.IntRange(0, 11).Draw(x.t, "what") {
	case 0, 1, 2, 3: // an honest permit
		x.deliver(x.permit(session, true, x.now-rapid.Int64Range(0, 50*ms).Draw(x.t, "age"), 0.25))
	case 4, 5:
		x.deliver(x.permit(session, false, x.now, 0.25))
	case 6: // any permit
		x.deliver(x.permit(session, rapid.Bool().Draw(x.t, "yes"), x.now+rapid.Int64Range(-1200*ms, 300*ms).Draw(x.t, "off"),
			rapid.Float64Range(0, 1).Draw(x.t, "valid")))
	case 7: // retained, and lost on the way as far as its number goes
		h := x.permit(session, true, x.now, 1)
		h.retained = true
		x.deliver(h)
	case 8: // anything said before, again
		if n := len(x.w.all); n > 0 {
			x.deliver(x.w.all[rapid.IntRange(0, n-1).Draw(x.t, "again")])
		}
	case 9:
		x.deliver(x.newCommand(rapid.SampledFrom([]string{"command", "command", "all"}).Draw(x.t, "topic")))
	case 10:
		x.junk()
	case 11:
		x.now += rapid.SampledFrom([]int64{-260 * ms, -20 * ms, 1, 40 * ms, 250 * ms, 251 * ms, 400 * ms}).Draw(x.t, "pass")
		x.judge()
	}
}

// junk is a message with bytes cut off or changed.
func (x *world) junk() {
	h := x.permit("a", true, x.now, 1)
	h.kind = rapid.SampledFrom([]string{"junk-permit", "junk-permit", "junk-command"}).Draw(x.t, "topic")
	h.payload = h.payload[:rapid.IntRange(0, len(h.payload)-1).Draw(x.t, "cut")]
	x.deliver(h)
}

// TestGoImpliesAPermit: over any interleaving of valid, stale, early, retained,
// repeated, replayed and broken messages of three watchdogs, with a clock that
// also steps back, a go has all that the witness asks for. And after all of it,
// a no and a yes still let the vehicle go: safe is not the same as stuck.
func TestGoImpliesAPermit(t *testing.T) {
	went, runs := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		r, err := New(Options{})
		if err != nil {
			t.Fatal(err)
		}
		x := &world{t: t, r: r, now: 1000 * ms, seqs: map[string]uint64{}}
		for range rapid.IntRange(20, 150).Draw(t, "steps") {
			x.step()
		}
		went += x.went
		runs++
		x.deliver(x.permit("b", false, x.now, 0.25))
		x.deliver(x.permit("b", true, x.now, 0.25))
		if v := r.MayMove(x.now); !v.Go {
			t.Fatalf("after a no and a yes: %+v", v)
		}
	})
	if went < runs/2 {
		t.Errorf("only %d goes in %d runs: the test looks at too little", went, runs)
	}
}
