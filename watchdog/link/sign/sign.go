package sign

import (
	"bytes"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"hash"
)

// Size is the length of a key, bytes: what HMAC-SHA-256 takes full strength from
// (RFC 2104 §3).
const Size = sha256.Size

// Key is shared by those who sign and those who check.
type Key [Size]byte

// member begins a signature and end is what follows its digits.
const (
	member = `,"sig":"`
	end    = `"}`
	digits = 2 * sha256.Size
)

// Length is how much longer a message is by its signature, bytes.
const Length = len(member) + digits + len(end) - len(`}`)

// Signer signs and checks the messages of one topic. The nil Signer leaves
// messages as they are and takes any. It is not safe for use by several goroutines
// at once.
type Signer struct {
	mac  hash.Hash
	head []byte // topic and zero byte
	sum  [sha256.Size]byte
	text [digits]byte
}

// New makes a Signer for a topic; no key, no Signer.
func New(k *Key, topic string) *Signer {
	if k == nil {
		return nil
	}
	return &Signer{mac: hmac.New(sha256.New, k[:]), head: append([]byte(topic), 0)}
}

// Sign appends the signature to b, which is one message: a JSON object that has a
// member and ends with its brace. Anything else is left as it is, and no one's.
func (s *Signer) Sign(b []byte) []byte {
	if s == nil || len(b) < len(`{"":0}`) || b[len(b)-1] != '}' {
		return b
	}
	b = b[:len(b)-1]
	text := s.digits(b)
	b = append(b, member...)
	b = append(b, text...)
	return append(b, end...)
}

// Check is whether payload is signed with this key for this topic.
func (s *Signer) Check(payload []byte) bool {
	if s == nil {
		return true
	}
	n := len(payload) - len(member) - digits - len(end)
	if n < 0 {
		return false
	}
	body, rest := payload[:n], payload[n:]
	if !bytes.HasPrefix(rest, []byte(member)) || !bytes.HasSuffix(rest, []byte(end)) {
		return false
	}
	return hmac.Equal(s.digits(body), rest[len(member):len(member)+digits])
}

// digits is the signature of body; good until the next call.
func (s *Signer) digits(body []byte) []byte {
	s.mac.Reset()
	s.mac.Write(s.head)
	s.mac.Write(body)
	hex.Encode(s.text[:], s.mac.Sum(s.sum[:0]))
	return s.text[:]
}
