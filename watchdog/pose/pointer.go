package pose

import (
	"fmt"
	"strings"
)

// leaf is the place of one value in Decoder.found; the bit of the same number
// in Decoder.has says whether the message held it.
type leaf int8

const (
	noLeaf leaf = iota - 1
	leafX
	leafY
	leafZ
	leafQW
	leafQX
	leafQY
	leafQZ
	leafRoll
	leafPitch
	leafYaw
	leafVX
	leafVY
	leafVZ
	leafConfidence
	leafStamp
	leafNanos
	leafSeq
	leafTracker
	leafCount
)

// maxEdges bounds the tree of pointers, so that one word of bits says which
// of its keys a message has already held.
const maxEdges = 64

// node is a step on the way to a field: an object's member or an array's
// element. The nodes of all pointers form a tree, walked along with the
// message, so that one pass finds everything.
type node struct {
	key     string // the member's name, unescaped
	index   int    // the element the key names, or -1 where it names none
	bit     uint8  // number of the edge to this node
	leaf    leaf   // what stands here, or noLeaf
	pointer string // from the root to here, for faults
	kids    []*node
}

// pointerTree compiles the pointers of f.
func pointerTree(f *Fields) (root *node, pointers [leafCount]string, err error) {
	pointers = [leafCount]string{
		leafX: f.X, leafY: f.Y, leafZ: f.Z,
		leafQW: f.QW, leafQX: f.QX, leafQY: f.QY, leafQZ: f.QZ,
		leafRoll: f.Roll, leafPitch: f.Pitch, leafYaw: f.Yaw,
		leafVX: f.VX, leafVY: f.VY, leafVZ: f.VZ,
		leafConfidence: f.Confidence, leafStamp: f.Stamp, leafNanos: f.StampNanos,
		leafSeq: f.Seq, leafTracker: f.Tracker,
	}
	root = &node{leaf: noLeaf, index: -1}
	edges := 0
	for l, p := range pointers {
		if p == "" {
			continue
		}
		if err := root.insert(p, leaf(l), &edges); err != nil {
			return nil, pointers, err
		}
	}
	return root, pointers, nil
}

// insert adds the way to one leaf below n, the root.
func (n *node) insert(pointer string, l leaf, edges *int) error {
	if pointer[0] != '/' {
		return fmt.Errorf("pose fields: pointer %q: must begin with / (RFC 6901)", pointer)
	}
	for at, more := 0, true; more; {
		var raw string
		raw, _, more = strings.Cut(pointer[at+1:], "/")
		at += 1 + len(raw)
		if n.leaf != noLeaf {
			return fmt.Errorf("pose fields: pointer %q passes through %q, which is a value itself", pointer, n.pointer)
		}
		key, err := unescapeToken(raw)
		if err != nil {
			return fmt.Errorf("pose fields: pointer %q: %w", pointer, err)
		}
		kid := n.kid(key)
		if kid == nil {
			if *edges == maxEdges {
				return fmt.Errorf("pose fields: pointer %q: the pointers together have more than %d steps", pointer, maxEdges)
			}
			kid = &node{key: key, index: arrayIndex(key), bit: uint8(*edges), leaf: noLeaf, pointer: pointer[:at]}
			*edges++
			n.kids = append(n.kids, kid)
		}
		n = kid
	}
	if n.leaf != noLeaf || len(n.kids) > 0 {
		return fmt.Errorf("pose fields: pointer %q: another field stands there too", pointer)
	}
	n.leaf = l
	return nil
}

func (n *node) kid(key string) *node {
	for _, k := range n.kids {
		if k.key == key {
			return k
		}
	}
	return nil
}

// unescapeToken undoes RFC 6901's ~1 for / and ~0 for ~.
func unescapeToken(raw string) (string, error) {
	for i := 0; i < len(raw); i++ {
		if raw[i] == '~' && (i+1 == len(raw) || raw[i+1] != '0' && raw[i+1] != '1') {
			return "", fmt.Errorf("~ must be written ~0, and / in a key ~1")
		}
	}
	return strings.ReplaceAll(strings.ReplaceAll(raw, "~1", "/"), "~0", "~"), nil
}

// arrayIndex reads an RFC 6901 array index: digits without a leading zero.
// Anything else, also an index no message of MaxPayload can hold, is -1.
func arrayIndex(key string) int {
	if key == "" || len(key) > 5 || len(key) > 1 && key[0] == '0' {
		return -1
	}
	n := 0
	for _, c := range []byte(key) {
		if c < '0' || c > '9' {
			return -1
		}
		n = n*10 + int(c-'0')
	}
	return n
}
