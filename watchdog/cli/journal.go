package cli

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"syscall"

	"pinfold/watchdog/app"
)

// toJournal gives what to write a line of each weight to. Where w is the
// journal's own stream, each line begins with its priority (sd-daemon(3)), so
// that journalctl -p warning shows the stops and nothing else; where it is not,
// it is w itself.
func toJournal(w io.Writer) func(app.Weight) io.Writer {
	if !isJournal(w, os.Getenv("JOURNAL_STREAM")) {
		return func(app.Weight) io.Writer { return w }
	}
	return func(weight app.Weight) io.Writer { return &prioritized{w, int(priority(severity(weight)))} }
}

// isJournal says whether w is the stream that systemd names: "device:inode" of
// what it connected (systemd.exec(5)). A child of the service whose standard
// error was sent elsewhere inherits the name, and must not be taken in.
func isJournal(w io.Writer, stream string) bool {
	f, ok := w.(*os.File)
	if !ok || stream == "" {
		return false
	}
	info, err := f.Stat()
	if err != nil {
		return false
	}
	st, ok := info.Sys().(*syscall.Stat_t)
	return ok && stream == fmt.Sprintf("%d:%d", st.Dev, st.Ino)
}

// prioritized writes lines that each begin with a priority.
type prioritized struct {
	w  io.Writer
	no int
}

func (p *prioritized) Write(text []byte) (int, error) {
	var b bytes.Buffer
	for line := range bytes.Lines(text) {
		fmt.Fprintf(&b, "<%d>%s", p.no, line)
	}
	if _, err := p.w.Write(b.Bytes()); err != nil {
		return 0, err
	}
	return len(text), nil
}
