package app

import (
	"fmt"
	"time"

	"pinfold/config"
	"pinfold/watchdog/link"
	"pinfold/watchdog/link/sign"
	"pinfold/watchdog/link/wire"
)

// signing is what one vehicle's messages are signed and checked with; where the
// site file names no key for a kind, it is nil, and all is taken.
type signing struct {
	permit, command, all *sign.Signer // of this guard
	fellow, ack          *sign.Signer // with the same key: of others
	request, align, pose *sign.Signer
	requestKey           *sign.Key // for who asks at this guard's own page

	refused uint64 // messages without a right signature
	kind    string // of the newest
	told    uint64 // refused, as it was last said
	toldAt  time.Duration
}

func newSigning(s *config.Signing, topics *wire.TopicSet) (signing, error) {
	keys, err := readKeys(s)
	if err != nil {
		return signing{}, fmt.Errorf("%w; see [vehicle.signing]", err)
	}
	own, request, pose := keys[0], keys[1], keys[2]
	return signing{permit: sign.New(own, topics.Permit), command: sign.New(own, topics.Command), all: sign.New(own, topics.AllCommand),
		fellow: sign.New(own, topics.Permit), ack: sign.New(own, topics.Ack), requestKey: request,
		request: sign.New(request, topics.Request), align: sign.New(request, topics.Align), pose: sign.New(pose, topics.Pose)}, nil
}

// readKeys reads the keys that the site file names, each nil where it names none.
func readKeys(s *config.Signing) (keys [3]*sign.Key, err error) {
	files := [3]string{s.KeyFile, s.RequestFile, s.PoseFile}
	for i, path := range files {
		if keys[i], err = sign.ReadKey(path); err != nil {
			return keys, err
		}
		for j, other := range keys[:i] {
			if other != nil && keys[i] != nil && *other == *keys[i] {
				return keys, fmt.Errorf("%s and %s hold the same key: whoever has one could sign as the other; make a key for each, with pinfold key --new", files[j], path)
			}
		}
	}
	return keys, nil
}

// CheckKeys reads a vehicle's keys, as a start does, and says what is wrong.
func CheckKeys(v *config.Vehicle) error {
	_, err := readKeys(&v.Signing)
	return err
}

// accepts is whether a message is what it has to be to be judged. One that is not
// is as none, and counted; but a stop or a land is carried out whoever asks for it,
// as at the page, under a name that says so: a stop needs no authority.
func (k *keeper) accepts(m *link.Message) bool {
	by, kind := k.signing.pose, kindPose
	switch m.Sub {
	case subAck:
		by, kind = k.signing.ack, kindAck
	case subRequest:
		by, kind = k.signing.request, kindRequest
	case subAlign:
		by, kind = k.signing.align, kindAlign
	}
	if !m.TooLarge && by.Check(m.Payload) || m.TooLarge && by == nil {
		return true
	}
	if m.Sub == subRequest && !m.TooLarge {
		if r, err := wire.DecodeRequest(m.Payload); err == nil && (r.Ask == wire.Stop || r.Ask == wire.Land) {
			r.By = "unsigned: " + r.By
			m.Payload = r.Append(m.Payload[:0])
			return true
		}
	}
	k.unsigned(kind)
	return false
}

// Kinds of messages that may have to be signed, as logs, trail and metrics name them.
const (
	kindPose    = "pose"
	kindAck     = "ack"
	kindRequest = "request"
	kindAlign   = "alignment"
	kindPermit  = "permit"
)

// unsigned counts a message that lacked its signature.
func (k *keeper) unsigned(kind string) {
	k.signing.kind = kind
	k.signing.refused++
	if k.metrics != nil {
		k.metrics.Unsigned(k.index, kind)
	}
}

// unsignedEvery is how often it is said, at most, that messages come without a
// right signature: a flood of them must not fill log and trail.
const unsignedEvery = 10 * time.Second

// Unsigned is the body of the record of messages that were as none, since they
// were not signed with the key that the site file names.
type Unsigned struct {
	Kind  string `json:"kind"`  // of the newest: pose, ack, request, alignment or permit
	Count uint64 `json:"count"` // since the record before
	Total uint64 `json:"total"` // of the session, these included
}

// news is how many were refused since it was last said, 0 where it is not yet to be
// said again.
func (s *signing) news(now time.Duration) (n uint64) {
	n = s.refused - s.told
	if n == 0 || s.told > 0 && now-s.toldAt < unsignedEvery {
		return 0
	}
	s.told, s.toldAt = s.refused, now
	return n
}

// countUnsigned says and records what was refused since the last time.
func (k *keeper) countUnsigned(now time.Duration) {
	s := &k.signing
	n := s.news(now)
	if n == 0 {
		return
	}
	k.trail.Event(k.cfg.Vehicle, "unsigned", now, Unsigned{Kind: s.kind, Count: n, Total: s.refused})
	k.say(now, Alarm, fmt.Sprintf("%d messages were not signed with this vehicle's key and count as none, the newest a %s. Somebody else speaks on the broker, or has another key: compare with pinfold key", n, s.kind))
}
