package trail

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
)

// tail is what of one file is not yet durable: the file's bytes from base on.
// Bytes once in it never change, so after any failure they are simply written
// again, from base: a failed fsync may have dropped pages that a later one
// would call clean.
type tail struct {
	base    int64  // durable bytes
	buf     []byte // what follows them
	written int    // of buf, handed to the file without error
}

func (t *tail) end() int64 { return t.base + int64(len(t.buf)) }

// part is the stretch of a tail that one job writes.
type part struct {
	off   int64
	data  []byte
	dirty bool // something in the file is not yet durable
}

func (t *tail) part() part {
	return part{off: t.base + int64(t.written), data: t.buf[t.written:len(t.buf):len(t.buf)], dirty: len(t.buf) > 0}
}

// done takes in what became of a part.
func (t *tail) done(p part, sync bool, err error) {
	if err != nil {
		t.written = 0
		return
	}
	t.written += len(p.data)
	if sync {
		n := copy(t.buf, t.buf[t.written:])
		t.base += int64(t.written)
		t.buf, t.written = t.buf[:n], 0
	}
}

// job is one piece of work for the disk. The intake is written, and made
// durable, before the lines that vouch for it.
type job struct {
	intake, events part
	sync           bool
	syncDir        bool     // the folder's names too
	tidy           bool     // look at the free space
	remove         []string // folders to remove, with sync
	lines, items   uint64   // in the trail up to here
	head           string   // of line lines
}

type result struct {
	job     job
	err     error
	free    int64
	gone    error   // the session's folder is no longer there
	removed []error // by job.remove
}

// disk does jobs, one at a time, in its own goroutine: it alone ever waits for
// the disk.
type disk struct {
	fs             FS
	dir, folder    string
	intake, events Handle
	lock           io.Closer
	jobs           chan job
	results        chan result
	ended          chan struct{}
}

func (d *disk) run() {
	defer close(d.ended)
	for j := range d.jobs {
		d.results <- d.do(j)
	}
	// Nothing can be done about a failed close: what is durable is so already.
	_ = errors.Join(d.intake.Close(), d.events.Close(), d.lock.Close())
}

func (d *disk) do(j job) result {
	r := result{job: j, free: -1, err: d.write(j)}
	if j.tidy || r.err != nil { // a full disk shows as one at once
		if free, err := d.fs.Free(d.dir); err == nil {
			r.free = free
		}
		if _, err := d.fs.Stat(filepath.Join(d.folder, eventsName)); err != nil {
			r.gone = fmt.Errorf("the session's folder is not where it was: %w", err)
		}
	}
	if r.err == nil {
		for _, name := range j.remove {
			r.removed = append(r.removed, removeSession(d.fs, name))
		}
	}
	return r
}

func (d *disk) write(j job) error {
	if err := writePart(d.intake, j.intake, j.sync); err != nil {
		return fmt.Errorf("%s: %w", intakeName, bare(err))
	}
	if err := writePart(d.events, j.events, j.sync); err != nil {
		return fmt.Errorf("%s: %w", eventsName, bare(err))
	}
	if j.syncDir {
		return d.fs.SyncDir(d.folder)
	}
	return nil
}

// bare leaves out the path, which is that of the folder before it got its name.
func bare(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		return fmt.Errorf("%s: %w", p.Op, p.Err)
	}
	return err
}

func writePart(h Handle, p part, sync bool) error {
	if len(p.data) > 0 {
		n, err := h.WriteAt(p.data, p.off)
		if err != nil {
			return err
		}
		if n < len(p.data) {
			return io.ErrShortWrite
		}
	}
	if sync && p.dirty {
		return h.Sync()
	}
	return nil
}
