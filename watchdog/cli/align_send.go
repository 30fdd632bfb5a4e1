package cli

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"os/user"
	"strings"
	"time"

	"pinfold/config"
	"pinfold/watchdog/link"
	"pinfold/watchdog/link/sign"
	"pinfold/watchdog/link/wire"
)

// Bounds of handing an alignment over.
const (
	guardWait  = 1500 * time.Millisecond // for a sign of life of a guard; states come every 200 ms unless the site says otherwise
	answerWait = 8 * time.Second         // for what becomes of it; a record may take 5 s to be on disk
	sendTries  = 3                       // a nonce that turned meanwhile is no refusal
)

// handOver gives the alignment that was just written to the guard, if one is at
// work, so that nobody has to put the vehicle down and type. made is what became
// of writing it.
func (a *aligner) handOver(ctx context.Context, site *config.Site, made error) error {
	if made != nil || !a.cmd.Send || a.cmd.From != "" {
		return made
	}
	data, err := os.ReadFile(a.cmd.File)
	if err != nil {
		return err
	}
	if len(data) > wire.AlignFileMax {
		return found("the file is written, but too long to be sent (%d bytes, at most %d): have the guard read it (SIGHUP)", len(data), wire.AlignFileMax)
	}
	topics, err := wire.Topics(site.Broker.Prefix, a.v.Name)
	if err != nil {
		return err
	}
	inbox, err := link.NewInbox(link.Queue{Max: wire.StateMax})
	if err != nil {
		return err
	}
	client, err := connect(ctx, site, "pinfold-align-send", []link.Sub{{Topic: topics.State, QoS: 1, Inbox: inbox}})
	if err != nil {
		return fmt.Errorf("the file is written, but could not be sent: %w", err)
	}
	defer client.Close(time.Second)
	key, err := sign.ReadKey(a.v.Signing.RequestFile)
	if err != nil {
		return fmt.Errorf("the file is written, but could not be sent: %w; see [vehicle.signing]", err)
	}
	sum := sha256.Sum256(data)
	h := &handing{client: client, inbox: inbox, topic: topics.Align, file: string(data), hash: hex.EncodeToString(sum[:]), sign: sign.New(key, topics.Align)}
	return a.handed(h.all(ctx, guardsOf(site)))
}

// handed says what became of it.
func (a *aligner) handed(st *wire.State, err error) error {
	switch {
	case err != nil:
		return err
	case st == nil:
		a.prompt("No guard is at work for %s: it reads the file when it starts, if its site file names it.", a.v.Name)
		return nil
	case len(st.Latched) > 0:
		a.prompt("%s's guard has taken it, at once. Put %s where it may start, then ask reset and start.", a.v.Name, a.v.Name)
		return nil
	}
	a.prompt("%s's guard has taken it, at once. Put %s where it may start, then ask start.", a.v.Name, a.v.Name)
	return nil
}

// handing is one alignment on its way to a guard.
type handing struct {
	client *link.Client
	inbox  *link.Inbox
	topic  string
	file   string
	hash   string
	sign   *sign.Signer
	guard  string // the one it is for; empty: whoever is there
}

// all hands it to every guard there is to be, each having a nonce of its own.
func (h *handing) all(ctx context.Context, guards []string) (st *wire.State, err error) {
	if len(guards) == 0 {
		return h.run(ctx)
	}
	for _, h.guard = range guards {
		if st, err = h.run(ctx); err != nil {
			return nil, fmt.Errorf("guard %s: %w", h.guard, err)
		}
		if st == nil {
			return nil, found("the file is written, and guard %s is not at work: the vehicle needs the same alignment at all of its guards; send it again when that one is", h.guard)
		}
	}
	return st, nil
}

// run sends it and gives the state that shows it in force; no state where no
// guard gives a sign of life.
func (h *handing) run(ctx context.Context) (*wire.State, error) {
	for range sendTries {
		st, err := h.state(ctx, guardWait, func(*wire.State) bool { return true })
		if st == nil || err != nil || st.Aligned == h.hash {
			return st, err
		}
		m := wire.Align{By: userName(), Nonce: st.Nonce, File: h.file}
		if err := h.client.PublishNow(h.topic, h.sign.Sign(m.Append(nil)), 1, false, publishWait); err != nil {
			return nil, fmt.Errorf("the file is written, but could not be sent: %w", err)
		}
		st, err = h.state(ctx, answerWait, h.answered)
		switch {
		case err != nil:
			return nil, err
		case st == nil:
			return nil, found("the file is written and was sent, and the guard does not answer within %v; does it know this message? Else start it again with the file", answerWait)
		case st.Aligned == h.hash:
			return st, nil
		case !strings.Contains(st.AlignSaid, "send it again"):
			return nil, found("the file is written, but the guard does not take it: %s", st.AlignSaid)
		}
	}
	return nil, found("the file is written, but the guard's nonce changed %d times while it was sent; try again when nothing else is asked of it", sendTries)
}

// answered says whether st tells what became of the file.
func (h *handing) answered(st *wire.State) bool {
	return st.Aligned == h.hash || st.AlignSent == h.hash && st.AlignSaid != "accepted"
}

// state is the first live state that wanted accepts; none where there is none in
// time. A retained one may be of a guard that is long gone.
func (h *handing) state(ctx context.Context, most time.Duration, wanted func(*wire.State) bool) (*wire.State, error) {
	over, cancel := context.WithTimeout(ctx, most)
	defer cancel()
	var m link.Message
	for {
		for h.inbox.Take(&m) {
			if m.Retained {
				continue
			}
			st, err := wire.DecodeState(m.Payload)
			if err != nil {
				return nil, err
			}
			if (h.guard == "" || st.Guard == h.guard) && wanted(&st) {
				return &st, nil
			}
		}
		select {
		case <-h.inbox.Ready():
		case <-over.Done():
			if errors.Is(ctx.Err(), context.Canceled) {
				return nil, found("given up; the file is written")
			}
			return nil, nil
		}
	}
}

// userName is who runs this program, for the trail; empty where it is not known.
func userName() string {
	u, err := user.Current()
	if err != nil {
		return ""
	}
	return u.Username
}
