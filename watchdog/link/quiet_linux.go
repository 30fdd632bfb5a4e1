package link

import (
	"io"
	"net"
	"os"
	"syscall"
	"unsafe"
)

// quiet reads a socket without telling the scheduler of each call. An ordinary read
// of the standard library does, and so wakes the thread that looks after calls that
// hang (sysmon of package runtime), which at 200 messages a second costs as much as
// the messages do. A read that never waits needs nobody to look after it: the
// socket is non-blocking, and where it holds nothing, its goroutine is parked by the
// network poller as ever. Deadlines and Close work as on the connection itself.
type quiet struct {
	net.Conn
	raw  syscall.RawConn
	once func(fd uintptr) bool // read, made once
	p    []byte                // where read puts it
	n    int
	err  syscall.Errno

	onceOut func(fd uintptr) bool // writeOut, made once
	out     []byte                // what writeOut writes
	wrote   int
}

// newQuiet is c itself where it has no socket of its own.
func newQuiet(c net.Conn) net.Conn {
	s, ok := c.(syscall.Conn)
	if !ok {
		return c
	}
	raw, err := s.SyscallConn()
	if err != nil {
		return c
	}
	q := &quiet{Conn: c, raw: raw}
	q.once, q.onceOut = q.read, q.writeOut
	return q
}

// Read is called by one goroutine, as that of a TLS connection is.
func (q *quiet) Read(p []byte) (int, error) {
	if len(p) == 0 {
		return 0, nil
	}
	q.p, q.n, q.err = p, 0, 0
	err := q.raw.Read(q.once)
	q.p = nil
	switch {
	case err != nil: // a deadline that has passed, a connection closed on this side
		return 0, err
	case q.err != 0:
		return 0, &net.OpError{Op: "read", Net: "tcp", Source: q.LocalAddr(), Addr: q.RemoteAddr(), Err: os.NewSyscallError("read", q.err)}
	case q.n == 0:
		return 0, io.EOF
	}
	return q.n, nil
}

// read tries once; false has it called again when there is something to read.
func (q *quiet) read(fd uintptr) bool {
	for {
		n, _, e := syscall.RawSyscall(syscall.SYS_READ, fd, uintptr(unsafe.Pointer(&q.p[0])), uintptr(len(q.p)))
		switch e {
		case 0:
			q.n = int(n)
			return true
		case syscall.EINTR:
		case syscall.EAGAIN:
			return false
		default:
			q.err = e
			return true
		}
	}
}

// writeNow writes as much of p as the socket takes without waiting; what keeps it
// from taking all is met by the next ordinary write. Nobody else may be writing.
func (q *quiet) writeNow(p []byte) int {
	q.out, q.wrote = p, 0
	if q.raw.Write(q.onceOut) != nil {
		q.wrote = 0 // never called
	}
	q.out = nil
	return q.wrote
}

// writeOut tries once.
func (q *quiet) writeOut(fd uintptr) bool {
	for {
		n, _, e := syscall.RawSyscall(syscall.SYS_WRITE, fd, uintptr(unsafe.Pointer(&q.out[0])), uintptr(len(q.out)))
		switch e {
		case 0:
			q.wrote = int(n)
			return true
		case syscall.EINTR:
		default:
			return true
		}
	}
}
