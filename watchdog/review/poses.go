package review

import (
	"fmt"
	"io"
	"iter"
	"slices"

	"pinfold/watchdog"
	"pinfold/watchdog/pose"
	"pinfold/watchdog/trail"
)

// Poses gives the poses of one vehicle out of a session's intake, as a
// recording: what the decoder refuses now it refused then, and is left out.
type Poses struct {
	next func() (pose.Sample, error, bool)
	stop func()
	r    *trail.Reader
}

// OpenPoses opens the intake of the session in folder. vehicle is the name in
// that session; one that it does not know stands for the only one there is.
// fields says how its messages are read.
func OpenPoses(folder, vehicle string, fields pose.Fields) (*Poses, error) {
	r, err := trail.Open(folder)
	if err != nil {
		return nil, err
	}
	names := r.Meta().Vehicles
	index := slices.Index(names, vehicle)
	if index < 0 && len(names) == 1 {
		index = 0
	}
	dec, err := pose.NewDecoder(fields)
	if err == nil && index < 0 {
		err = fmt.Errorf("review: the session has no vehicle %q; it has %v", vehicle, names)
	}
	if err != nil {
		_ = r.Close() // only read from
		return nil, err
	}
	p := &Poses{r: r}
	p.next, p.stop = iter.Pull2(posesOf(r, index, dec))
	return p, nil
}

// posesOf walks the intake; the last pair holds an error, if there was one.
func posesOf(r *trail.Reader, index int, dec *pose.Decoder) iter.Seq2[pose.Sample, error] {
	return func(yield func(pose.Sample, error) bool) {
		err := r.Items(func(it *trail.Item) error {
			var s pose.Sample
			if int(it.Vehicle) != index || it.Kind != uint8(watchdog.EvPose) || dec.Decode(it.Payload, &s) != nil {
				return nil
			}
			if !yield(s, nil) {
				return io.EOF // nobody wants more
			}
			return nil
		})
		if err != nil && err != io.EOF {
			yield(pose.Sample{}, err)
		}
	}
}

// Next is the next pose, or io.EOF after the last.
func (p *Poses) Next() (pose.Sample, error) {
	s, err, ok := p.next()
	if !ok {
		return pose.Sample{}, io.EOF
	}
	return s, err
}

// Close ends the reading.
func (p *Poses) Close() error {
	p.stop()
	return p.r.Close()
}
