package app

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"

	"pinfold/config"
	"pinfold/watchdog"
	"pinfold/watchdog/intake"
)

// tying is what a loop knows of its vehicle's own alignment file.
type tying struct {
	looked string       // hash of the file as it was when it was last read
	hash   string       // of the one that is being taken
	answer chan<- error // while it is
}

// realign has every vehicle whose alignment file is another one than when it was
// last read take the new one. What comes of it is said; the site is taken or not
// without regard to it, since an alignment that is refused changes nothing.
func (r *runner) realign(ctx context.Context, next *config.Site) {
	for _, k := range r.keepers {
		v, ok := next.Vehicle(k.cfg.Vehicle)
		if !ok || !v.Config.Tie.Renew {
			continue
		}
		data := fileOf(next, v.Config.Tie.Hash)
		if data == nil {
			r.say(Line{At: r.now(), Weight: Caution, Vehicle: v.Name, Text: "its alignment file cannot be used (see pinfold check); what was in force stays"})
			continue
		}
		if err := k.ask(ctx, order{align: data}); err != nil && ctx.Err() == nil && !errors.Is(err, errRefused) {
			r.say(Line{At: r.now(), Weight: Caution, Vehicle: v.Name, Text: "its alignment file is not taken: " + err.Error()})
		}
	}
}

// fileOf is the one of the site's files that has the hash; nil where none has.
func fileOf(s *config.Site, hash string) []byte {
	for _, f := range s.Files {
		if hash != "" && hashOf(f.Data) == hash {
			return f.Data
		}
	}
	return nil
}

func hashOf(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

// errRefused is the answer where the core refused an alignment; its record says
// why, and is said to people already.
var errRefused = errors.New("refused")

// realign steps the core with the site's own alignment file, where it is another
// than the one that was read last. The answer is given when what becomes of it
// is recorded, see tied.
func (k *keeper) realign(o order) {
	hash := hashOf(o.align)
	if hash == k.tying.looked || hash == k.guard.Snapshot().Tie.Hash {
		k.tying.looked = hash
		o.answer <- nil
		return
	}
	k.tying = tying{looked: hash, hash: hash, answer: o.answer}
	k.step(&intake.Entry{Kind: intake.KindAlign, Arrived: k.now(), Payload: o.align})
}

// tied gives the answer to whoever waits for an alignment to be taken.
func (k *keeper) tied(r *watchdog.Record) {
	b, ok := r.Body.(watchdog.AlignHeard)
	if !ok || !b.Local || b.Outcome == "accepted" || k.tying.answer == nil || b.Hash != k.tying.hash {
		return
	}
	var err error
	if b.Outcome != "effective" {
		err = errRefused
		k.tying.looked = "" // what stood in its way may be gone the next time
	}
	k.tying.answer <- err
	k.tying.answer = nil
}

// alignSaid is what became of an alignment, for whoever sent it.
func alignSaid(b *watchdog.AlignHeard) string {
	if len(b.Why) > 0 {
		return strings.Join(b.Why, "; ")
	}
	return b.Outcome
}

// alignText says what became of an alignment, for the log.
func alignText(b *watchdog.AlignHeard) string {
	from := "sent by " + orUnknown(b.By)
	if b.Local {
		from = "read from the site's file"
	}
	if b.Outcome != "effective" {
		return "alignment " + from + ": refused: " + strings.Join(b.Why, "; ")
	}
	return fmt.Sprintf("aligned anew (%s): yaw %.2f°, origin at (%.3f, %.3f, %.3f) m, off by at most %.3f m; positions are now good to %.3f m",
		from, b.Yaw, b.X, b.Y, b.Z, b.Residual, b.Uncertainty)
}
