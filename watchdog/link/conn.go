package link

import (
	"bufio"
	"bytes"
	"context"
	"crypto/tls"
	"errors"
	"io"
	"net"
	"time"
)

// conn is the socket under the MQTT client. Every write has a deadline, also
// the client's pings and confirmations, which otherwise wait for ever on a
// broker that has stopped reading. A PUBLISH longer than any queue keeps is
// cut on its way in, so that one message cannot take all the memory.
type conn struct {
	net.Conn
	in   *bufio.Reader
	past *direct // nil: everything is handed out
	now  atOnce  // what is sent past the library
	head []byte  // header bytes still to be handed out
	buf  [5]byte
	pass int // bytes of the current packet still to be handed out
	skip int // bytes of the current packet to be left out after those
}

// maxPacket is how much of a PUBLISH is let through after its fixed header: the
// longest topic, a packet id, and a byte more than the largest payload, by which
// the cut is told.
const maxPacket = 2 + 65535 + 2 + MaxMax + 1

const typePublish = 3 // MQTT 3.1.1 §2.2.1

var errHeader = errors.New("the broker sent a malformed MQTT packet")

func open(ctx context.Context, t target, within time.Duration, past *direct) (*conn, error) {
	ctx, cancel := context.WithTimeout(ctx, within)
	defer cancel()
	var d net.Dialer
	raw, err := d.DialContext(ctx, "tcp", t.addr)
	if err != nil {
		return nil, err
	}
	raw = newQuiet(raw)
	c := &conn{past: past}
	if t.tls != nil {
		secure := tls.Client(raw, t.tls)
		if err := secure.HandshakeContext(ctx); err != nil {
			_ = raw.Close()
			return nil, err
		}
		raw = secure
	}
	c.Conn, c.in = raw, bufio.NewReaderSize(raw, 8<<10)
	c.now.to, _ = raw.(writer)
	return c, nil
}

// Write is given one packet at a time by the library (its packets' Write), from
// several goroutines.
func (c *conn) Write(p []byte) (int, error) {
	c.now.Lock()
	defer c.now.Unlock()
	if bytes.Equal(p, note[:]) {
		return len(p), nil
	}
	return c.write(p)
}

func (c *conn) write(p []byte) (int, error) {
	if err := c.Conn.SetWriteDeadline(time.Now().Add(writeTimeout)); err != nil {
		return 0, err
	}
	n, err := c.Conn.Write(p)
	if err == nil {
		err = c.Conn.SetWriteDeadline(time.Time{})
	}
	return n, err
}

// SetWriteDeadline does nothing: every write has its own, which the library would
// take from a ping that another goroutine writes.
func (c *conn) SetWriteDeadline(time.Time) error { return nil }

// Read hands out packets, cut where they are too long. One goroutine reads. A
// socket that was closed on this side ends like one that was closed on the
// other: the client passes over the former, and would notice it by its next
// ping.
func (c *conn) Read(p []byte) (int, error) {
	n, err := c.read(p)
	if errors.Is(err, net.ErrClosed) {
		err = io.EOF
	}
	return n, err
}

func (c *conn) read(p []byte) (int, error) {
	if len(p) == 0 {
		return 0, nil
	}
	for len(c.head) == 0 && c.pass == 0 {
		if err := c.nextHeader(); err != nil {
			return 0, err
		}
	}
	if len(c.head) > 0 {
		n := copy(p, c.head)
		c.head = c.head[n:]
		return n, nil
	}
	n, err := c.in.Read(p[:min(len(p), c.pass)])
	c.pass -= n
	return n, err
}

// nextHeader leaves out the rest of the last packet and reads the fixed header
// of the next one (MQTT 3.1.1 §2.2). There is none to hand out where the packet
// went straight to its inbox.
func (c *conn) nextHeader() error {
	if c.skip > 0 {
		n, err := io.CopyN(io.Discard, c.in, int64(c.skip))
		c.skip -= int(n)
		if err != nil {
			return err
		}
	}
	first, err := c.in.ReadByte()
	if err != nil {
		return err
	}
	length, err := c.readLength()
	if err != nil {
		return err
	}
	if length > maxPacket {
		if first>>4 != typePublish {
			return errHeader
		}
		c.skip, length = length-maxPacket, maxPacket
	}
	taken, err := c.past.take(first, length, c.in)
	switch {
	case err != nil:
		return err
	case taken && c.past.due():
		c.head = append(c.buf[:0], note[:]...)
		return nil
	case taken:
		return nil
	}
	c.pass = length
	c.head = appendLength(append(c.buf[:0], first), length)
	return nil
}

func (c *conn) readLength() (length int, err error) {
	for shift := 0; shift < 28; shift += 7 {
		b, err := c.in.ReadByte()
		if err != nil {
			return 0, err
		}
		length |= int(b&0x7f) << shift
		if b&0x80 == 0 {
			return length, nil
		}
	}
	return 0, errHeader
}

func appendLength(b []byte, length int) []byte {
	for length > 0x7f {
		b = append(b, byte(length)|0x80)
		length >>= 7
	}
	return append(b, byte(length))
}
