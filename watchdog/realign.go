package watchdog

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"time"

	"pinfold/watchdog/pose"
	"pinfold/watchdog/pose/trig"
)

// Tie says which alignment file ties the tracker to the room, and whether
// another may be taken while running. The zero Tie takes none.
type Tie struct {
	Renew bool    // another may be taken; false: the site file fixes the alignment
	Site  string  // name of the site, which a file that names one must name; empty: not asked
	Hash  string  // hex SHA-256 of the file in force; empty: none was read
	Made  int64   // ms since 1970 UTC, when the file in force was made, by its maker's clock; 0: none was read
	Most  float64 // m, the largest residual another may have
}

// AlignHeard is an alignment that was sent, with what became of it. What could
// not be read of the file is empty.
type AlignHeard struct {
	By       string    `json:"by"`
	Local    bool      `json:"local,omitempty"` // from the site's own files
	Hash     string    `json:"hash"`            // hex SHA-256 of the file
	Replaces string    `json:"replaces"`        // hash of the file in force before; empty: none was
	Method   string    `json:"method"`
	Made     time.Time `json:"made"`
	Tracker  string    `json:"tracker"`  // id of the tracker's session; empty: it tells none
	Since    int64     `json:"since_ns"` // ns, tracker's stamp
	Yaw      float64   `json:"yaw_deg"`
	X        float64   `json:"x_m"` // where the tracker's origin stands, site frame
	Y        float64   `json:"y_m"`
	Z        float64   `json:"z_m"`
	Residual float64   `json:"residual_m"`
	// Uncertainty is what the judgement is widened by with it, m: the declared
	// error of a position and the residual.
	Uncertainty float64  `json:"uncertainty_m"`
	Outcome     string   `json:"outcome"` // accepted, effective or refused
	Why         []string `json:"why,omitempty"`
}

// tying is an alignment that was accepted, until its record is durable.
type tying struct {
	file  pose.AlignmentFile
	heard AlignHeard
}

// onAlign takes the bytes of an alignment file, as pinfold align writes it. It
// is used like a request: with the nonce that is shown, good once, unless it
// comes from the site's own files; and durable before it is in force. It is
// refused while the vehicle is started, so that no permit can be in force when
// it takes effect, and after a stop until the vehicle rests. It grants nothing:
// what comes after it is 2 s of trusted pose, a reset where a stop is latched,
// and a start.
func (g *Guard) onAlign(ev *Event, now time.Duration) {
	sum := sha256.Sum256(ev.Payload)
	t := &tying{heard: AlignHeard{By: clip(ev.By, MaxName), Local: ev.Local,
		Hash: hex.EncodeToString(sum[:]), Replaces: g.cfg.Tie.Hash}}
	var why []string
	switch {
	case ev.Retained:
		why = []string{"a retained alignment is old by definition; send it again"}
	case !ev.Local && ev.Nonce != g.nonce:
		why = []string{"the nonce is not the one in the current state; read the state and send it again"}
	default:
		if !ev.Local {
			g.turnNonce(now) // good once, whatever becomes of it
		}
		why = g.readTie(t, ev.Payload)
	}
	if len(why) > 0 {
		g.tied(t, "refused", why, now)
		return
	}
	t.heard.Outcome = "accepted"
	g.aligned, g.stateDirty = t.heard, true
	g.tokens++
	g.pending = pending{tie: t, by: t.heard.By, token: g.tokens, since: now}
	g.recordDurable(RecAlign, now, g.tokens, t.heard)
}

// readTie reads the file and says what is in its way.
func (g *Guard) readTie(t *tying, file []byte) (why []string) {
	f, err := pose.ReadAlignment(file)
	if err != nil {
		return []string{clip(err.Error(), MaxText)}
	}
	a, h := &f.Alignment, &t.heard
	h.Method, h.Made, h.Tracker, h.Since = f.Method, f.Made, a.Tracker, a.Since
	h.Yaw, h.Residual = a.Rotation.Yaw()*180/math.Pi, a.Residual
	h.X, h.Y, h.Z = a.Translation.X, a.Translation.Y, a.Translation.Z
	h.Uncertainty = g.cfg.Stopping.PositionErr + a.Residual
	t.file = f
	return g.unfit(t)
}

// unfit says in words why the alignment may not be taken now; nothing means it
// may.
func (g *Guard) unfit(t *tying) (why []string) {
	f, tie := &t.file, &g.cfg.Tie
	switch {
	case g.closed:
		return []string{"the session is closed"}
	case !tie.Renew:
		return []string{"the site file fixes this vehicle's alignment; to take one while running it needs file under [vehicle.pose.align]"}
	case f.Vehicle != g.cfg.Vehicle:
		return []string{fmt.Sprintf("it is the alignment of %q", clip(f.Vehicle, MaxName))}
	case f.Site != "" && tie.Site != "" && f.Site != tie.Site:
		return []string{fmt.Sprintf("it is the alignment of another site, %q", clip(f.Site, MaxName))}
	case t.heard.Hash == tie.Hash && g.trust.Has(pose.Restarted):
		return []string{"it is the one that the tracker's restart made void; align again"}
	case t.heard.Hash == tie.Hash:
		return []string{"it is the one in force"}
	}
	if g.started && g.latch == ActNone {
		why = append(why, "the vehicle is started: stop it first")
	}
	if g.started && g.latch != ActNone {
		why = append(why, g.unrested()...)
	}
	if g.pending.token != 0 {
		why = append(why, "another request waits for the disk")
	}
	if !g.trailUp {
		why = append(why, "the trail cannot be written")
	}
	if f.Alignment.Residual > tie.Most {
		why = append(why, fmt.Sprintf("it may be off by %.3f m, more than the tolerance of %.3f m; see tolerance under [vehicle.pose.align]", f.Alignment.Residual, tie.Most))
	}
	if f.Made.UnixMilli() <= tie.Made {
		why = append(why, fmt.Sprintf("it was made at %s, not after the one in force (%s); if a clock is wrong, set it and align again",
			f.Made.UTC().Format(time.RFC3339), time.UnixMilli(tie.Made).UTC().Format(time.RFC3339)))
	}
	if foreign := g.track.Unfit(&f.Alignment); foreign != "" {
		why = append(why, clip(foreign, MaxText))
	}
	return why
}

// unrested says why a vehicle that was stopped under way may still be moving:
// its stop is watched until it rests, and across two frames it cannot be. What
// the tracker reports in its own frame tells its speed, also where a restart has
// left that frame without a place.
func (g *Guard) unrested() []string {
	const again = "; let it come to rest and send it again"
	switch v := g.cur.Velocity; {
	case !g.judged || g.trust&^pose.Restarted != 0 || !g.cur.HasVelocity:
		return []string{"no pose to be trusted says that the vehicle is at rest" + again}
	case !g.isSlow:
		return []string{fmt.Sprintf("the vehicle moves at %.2f m/s", trig.Hypot(trig.Hypot(v.X, v.Y), v.Z)) + again}
	case g.now-g.slow < g.cfg.Timing.RestFor:
		return []string{"the vehicle has only just come to rest; wait a moment and send it again"}
	}
	return nil
}

// tie lets an alignment whose record is durable take effect, if its conditions
// still hold.
func (g *Guard) tie(t *tying, failed bool, now time.Duration) {
	why := g.unfit(t)
	if failed {
		why = []string{notOnDisk}
	}
	a := t.file.Alignment
	if len(why) == 0 {
		if err := g.track.Realign(a); err != nil {
			why = []string{clip(err.Error(), MaxText)}
		}
	}
	if len(why) > 0 {
		g.tied(t, "refused", why, now)
		return
	}
	g.cfg.Pose.Align, g.cfg.Stopping.AlignErr = a, a.Residual
	g.cfg.Tie.Hash, g.cfg.Tie.Made = t.heard.Hash, t.file.Made.UnixMilli()
	// How far it came until rest cannot be told across two frames.
	g.stop.known, g.stop.moved, g.stop.over = false, false, 0
	g.isSlow = false
	g.tied(t, "effective", nil, now)
	g.judgeTrust(now)
}

// tied records what became of an alignment.
func (g *Guard) tied(t *tying, outcome string, why []string, now time.Duration) {
	t.heard.Outcome, t.heard.Why = outcome, why
	g.aligned, g.stateDirty = t.heard, true
	g.record(RecAlign, now, t.heard)
}

// void says whether the newest pose stands in a frame that nothing ties to the
// room. Where it seems to be is then no evidence of anything: zones and limits
// are left as they were by the last pose that had a place.
func (g *Guard) void(now time.Duration) bool { return g.track.Distrust(now).Has(pose.Restarted) }

// untied says that the tracker's frame is not tied to the room, and what to do.
func (g *Guard) untied() string {
	how := "(pinfold align --vehicle " + g.cfg.Vehicle + ")"
	switch {
	case !g.cfg.Tie.Renew:
		return "the tracker restarted, so its tie to the room is void: start the guard again, with a new alignment if it has one"
	case g.cfg.Pose.Align.Unbound:
		return "its alignment was made from a recording that does not tell of which session of the tracker it is: align with the tracker itself " + how
	case g.cfg.Pose.Align.Void():
		return "the tracker is not tied to the room yet: align it " + how
	}
	return "the tracker restarted, so its tie to the room is void: align again " + how
}

// keepTie leaves the alignment in force where c comes with a file of its own.
func (g *Guard) keepTie(c *Config) {
	c.Pose.WallZero = g.cfg.Pose.WallZero
	if !c.Tie.Renew || !g.cfg.Tie.Renew {
		return
	}
	c.Pose.Align, c.Stopping.AlignErr = g.cfg.Pose.Align, g.cfg.Stopping.AlignErr
	c.Tie.Hash, c.Tie.Made = g.cfg.Tie.Hash, g.cfg.Tie.Made
}
