package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"pinfold/config"
	"pinfold/watchdog/link"
	"pinfold/watchdog/link/wire"
	"pinfold/watchdog/pose"
)

// source is where a survey's poses come from.
type source interface {
	next(context.Context) (pose.Sample, error)
	epoch() time.Time // wall clock at the tracker's stamp zero; zero where not known
	silent() error    // why nothing comes, as far as that can be told
	close()
}

// errRecordingEnds is the end of a recording in which too little was found.
var errRecordingEnds = errors.New("the recording ends before that: the vehicle did\nnot stand still for long enough; see --hold")

// openSource opens a recording, or the vehicle's poses on the broker.
func openSource(ctx context.Context, site *config.Site, v *config.Vehicle, path, id string) (source, error) {
	if path != "" {
		r, err := openRecorded(path, v.Name, v.Config.Fields)
		if err != nil {
			return nil, err
		}
		return fileSource{r}, nil
	}
	topics, err := wire.Topics(site.Broker.Prefix, v.Name)
	if err != nil {
		return nil, err
	}
	dec, err := pose.NewDecoder(v.Config.Fields)
	if err != nil {
		return nil, err
	}
	inbox, err := link.NewInbox(link.Queue{Depth: link.MaxDepth})
	if err != nil {
		return nil, err
	}
	client, err := connect(ctx, site, id, []link.Sub{{Topic: topics.Pose, Inbox: inbox}})
	if err != nil {
		return nil, err
	}
	return &liveSource{client: client, inbox: inbox, dec: dec, topic: topics.Pose}, nil
}

type fileSource struct{ r recorded }

func (f fileSource) next(context.Context) (pose.Sample, error) {
	s, err := f.r.Next()
	if errors.Is(err, io.EOF) {
		return s, errRecordingEnds
	}
	return s, err
}

func (fileSource) silent() error    { return errRecordingEnds }
func (fileSource) epoch() time.Time { return time.Time{} }
func (f fileSource) close()         { _ = f.r.Close() } // it was only read

type liveSource struct {
	client *link.Client
	inbox  *link.Inbox
	dec    *pose.Decoder
	topic  string
	m      link.Message
	zero   time.Time   // earliest seen of the session: the fastest transit
	id     string      // tracker id that zero is of
	fault  *pose.Fault // the last one
	heard  int
}

func (l *liveSource) next(ctx context.Context) (s pose.Sample, err error) {
	for {
		for l.inbox.Take(&l.m) {
			if l.m.Retained {
				continue // of any age
			}
			if f := l.dec.Decode(l.m.Payload, &s); f != nil {
				l.fault = f
				continue
			}
			l.heard++
			l.begins(&s, time.Now())
			return s, nil
		}
		select {
		case <-l.inbox.Ready():
		case <-ctx.Done():
			return s, l.why(ctx)
		}
	}
}

// zeroSlack is by how much later than before a tracker's epoch must show for
// it to be a new one: more than any message is on its way.
const zeroSlack = 2 * time.Second

// begins notes when the tracker's stamp was zero, by a sample that came now. A
// tracker that restarts without a word begins later than it did.
func (l *liveSource) begins(s *pose.Sample, now time.Time) {
	z := now.Add(-time.Duration(s.Stamp))
	if l.zero.IsZero() || s.Tracker != l.id || z.Before(l.zero) || z.Sub(l.zero) > zeroSlack {
		l.zero, l.id = z, s.Tracker
	}
}

// why says why nothing more comes.
func (l *liveSource) why(ctx context.Context) error {
	switch {
	case errors.Is(ctx.Err(), context.Canceled):
		return found("given up")
	case l.heard == 0:
		return l.silent()
	}
	return errors.New("it took longer than --wait")
}

func (l *liveSource) silent() error {
	switch {
	case l.heard == 0 && l.fault != nil:
		return fmt.Errorf("no pose on %s could be read: %w; see [vehicle.pose.fields]", l.topic, l.fault)
	case l.heard == 0:
		return fmt.Errorf("no pose came on %s; is the tracker on, and does it publish there?", l.topic)
	case !l.client.Up():
		return errors.New("the broker is gone; waiting for it")
	}
	return errors.New("the tracker went silent")
}

func (l *liveSource) epoch() time.Time { return l.zero.UTC() }

// epochOf is src's epoch, ns since 1970 UTC; zero where it is not known.
func epochOf(src source) int64 {
	if e := src.epoch(); !e.IsZero() {
		return e.UnixNano()
	}
	return 0
}

func (l *liveSource) close() { _ = l.client.Close(time.Second) } // nothing is to be sent any more
