package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"reflect"
	"sync/atomic"
	"syscall"
	"time"

	"pinfold/config"
	"pinfold/watchdog/app"
	"pinfold/watchdog/link"
	"pinfold/watchdog/link/sign"
	"pinfold/watchdog/link/wire"
	"pinfold/watchdog/pose"
	"pinfold/watchdog/pose/recording"
)

type playCmd struct {
	Site    string  `required:"" help:"Site file: its broker, its vehicle's topics." placeholder:"FILE"`
	Vehicle string  `help:"Vehicle of the site to play as." placeholder:"NAME"`
	Speed   float64 `default:"1" help:"How many times faster than it was recorded."`
	Path    string  `arg:"" name:"file" help:"Recording (CSV with a header, or TUM text), or a session's folder."`
}

// publishWait is how long one publish may take before playing is given up.
const publishWait = 2 * time.Second

// Run publishes a recording as live pose. The stamps are the recording's own,
// moved as a whole so that the first is now: a second play begins after the
// first.
func (c *playCmd) Run(s *streams) error {
	if !(c.Speed > 0 && c.Speed <= 1000) {
		return fmt.Errorf("--speed %v: must be more than 0 and at most 1000", c.Speed)
	}
	site, err := config.Load(c.Site)
	if err != nil {
		return err
	}
	v, err := pickVehicle(site, c.Vehicle)
	if err != nil {
		return err
	}
	if !reflect.DeepEqual(v.Config.Fields, pose.DefaultFields()) {
		return fmt.Errorf("play writes Pinfold's own pose message, and the site reads %s from other fields; play by a site file without [vehicle.pose.fields]", v.Name)
	}
	src, err := openRecorded(c.Path, v.Name, v.Config.Fields)
	if err != nil {
		return err
	}
	defer src.Close()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	return c.play(ctx, s, site, v, src)
}

func (c *playCmd) play(ctx context.Context, s *streams, site *config.Site, v *config.Vehicle, src recorded) error {
	topics, err := wire.Topics(site.Broker.Prefix, v.Name)
	if err != nil {
		return err
	}
	key, err := sign.ReadKey(v.Signing.PoseFile)
	if err != nil {
		return fmt.Errorf("%w; see [vehicle.signing]", err)
	}
	signer := sign.New(key, topics.Pose)
	client, err := connect(ctx, site, "pinfold-play", nil)
	if err != nil {
		return err
	}
	defer client.Close(time.Second)
	fmt.Fprintf(s.err, "playing %s as %s at %gx on %s\n", c.Path, v.Name, c.Speed, topics.Pose)
	p := &player{speed: c.Speed, begun: time.Now(), base: time.Now().UnixNano()}
	for {
		sample, err := src.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
		if !p.wait(ctx, sample.Stamp) {
			return found("stopped after %d samples", p.sent)
		}
		sample.Stamp += p.shift
		p.buf = signer.Sign(recording.Payload(p.buf[:0], &sample))
		if err := client.PublishNow(topics.Pose, p.buf, 0, false, publishWait); err != nil {
			return fmt.Errorf("after %d samples: %w", p.sent, err)
		}
		p.sent++
	}
	if p.sent == 0 {
		return errNoSample(c.Path)
	}
	fmt.Fprintf(s.err, "played %d samples in %.1f s\n", p.sent, time.Since(p.begun).Seconds())
	return nil
}

// player paces a recording.
type player struct {
	speed float64
	begun time.Time
	base  int64 // ns, what the first stamp becomes
	first int64
	shift int64 // ns, added to every stamp
	sent  int
	buf   []byte
}

// wait returns at the sample's time; false: ctx is done.
func (p *player) wait(ctx context.Context, stamp int64) bool {
	if p.sent == 0 {
		p.first, p.shift = stamp, p.base-stamp
	}
	at := p.begun.Add(time.Duration(float64(stamp-p.first) / p.speed))
	d := time.Until(at)
	if d <= 0 {
		return ctx.Err() == nil
	}
	select {
	case <-ctx.Done():
		return false
	case <-time.After(d):
		return true
	}
}

// connectWait is how long a command waits for the broker.
const connectWait = 5 * time.Second

// connect makes a command's own connection to the site's broker and waits for
// it.
func connect(ctx context.Context, site *config.Site, id string, subs []link.Sub) (*link.Client, error) {
	o, err := app.LinkOptions(&site.Broker)
	if err != nil {
		return nil, err
	}
	begun := time.Now()
	o.ClientID, o.Subs = id, subs
	o.Now = func() time.Duration { return time.Since(begun) }
	var why atomic.Value
	o.OnLink = func(_ bool, text string) { why.Store(text) }
	client, err := link.Dial(o)
	if err != nil {
		return nil, err
	}
	for !client.Up() {
		if ctx.Err() != nil || time.Since(begun) > connectWait {
			client.Close(0)
			return nil, noLink(site.Broker.Addresses(), why.Load())
		}
		time.Sleep(5 * time.Millisecond)
	}
	return client, nil
}

// noLink says why there is no link to the broker at url, as package link said it
// last, and what to try.
func noLink(url string, why any) error {
	text, ok := why.(string)
	if !ok {
		text = "no answer in time"
	}
	hint := app.LinkHint(text)
	if hint != "" {
		hint = "; " + hint
	}
	return fmt.Errorf("no link to the broker at %s within %v: %s%s", url, connectWait, text, hint)
}
