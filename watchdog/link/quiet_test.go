package link

import (
	"bytes"
	"errors"
	"io"
	"net"
	"os"
	"strings"
	"syscall"
	"testing"
	"time"
)

// pair is both ends of a connection through the loopback.
func pair(t *testing.T) (near net.Conn, far *net.TCPConn) {
	t.Helper()
	raw, far := plainPair(t, 0)
	return newQuiet(raw), far
}

// plainPair has segments of so many bytes, as the loopback would have them where
// that is nought.
func plainPair(t *testing.T, segment int) (near, far *net.TCPConn) {
	t.Helper()
	cut := func(_, _ string, c syscall.RawConn) (err error) {
		if segment > 0 {
			_ = c.Control(func(fd uintptr) {
				err = syscall.SetsockoptInt(int(fd), syscall.IPPROTO_TCP, syscall.TCP_MAXSEG, segment)
			})
		}
		return err
	}
	l, err := (&net.ListenConfig{Control: cut}).Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	raw, err := (&net.Dialer{Control: cut}).Dial("tcp", l.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	accepted, err := l.Accept()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { raw.Close(); accepted.Close() })
	return raw.(*net.TCPConn), accepted.(*net.TCPConn)
}

func TestQuietReadsWhatWasSent(t *testing.T) {
	near, far := pair(t)
	sent := bytes.Repeat([]byte("pinfold "), 1<<17)
	go func() {
		for b := sent; len(b) > 0; { // in pieces of every size, so that reads find nothing too
			n, err := far.Write(b[:min(len(b), 1+len(b)%9973)])
			if err != nil {
				return
			}
			b = b[n:]
		}
		_ = far.Close()
	}()
	got, err := io.ReadAll(near)
	if err != nil || !bytes.Equal(got, sent) {
		t.Errorf("%d bytes of %d: %v", len(got), len(sent), err)
	}
}

// It ends like an ordinary connection, with the words that are told to a person.
func TestQuietEnds(t *testing.T) {
	near, _ := pair(t)
	if err := near.SetReadDeadline(time.Now().Add(10 * time.Millisecond)); err != nil {
		t.Fatal(err)
	}
	if _, err := near.Read(make([]byte, 8)); !errors.Is(err, os.ErrDeadlineExceeded) {
		t.Errorf("after its deadline: %v", err)
	}

	near, far := pair(t)
	_ = far.SetLinger(0) // closing sends a reset
	_ = far.Close()
	if _, err := near.Read(make([]byte, 8)); !strings.HasPrefix(plainError(err), "read: ") || !strings.Contains(plainError(err), "connection reset") {
		t.Errorf("after a reset: %q", plainError(err))
	}

	near, _ = pair(t)
	go func() {
		time.Sleep(10 * time.Millisecond) // so that the read mostly waits already
		_ = near.Close()
	}()
	if _, err := near.Read(make([]byte, 8)); !errors.Is(err, net.ErrClosed) {
		t.Errorf("closed on this side: %v", err)
	}
}
