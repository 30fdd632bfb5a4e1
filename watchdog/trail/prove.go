package trail

import (
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"
)

// frameCheck checks the frames of intake.pfi, one after the other.
type frameCheck struct {
	f     Handle // nil: it could not be opened
	size  int64
	next  int64 // where the next frame begins
	frame int   // its number
	items uint64
	zip   *expander
	buf   []byte
}

// open opens the file and checks its header.
func (c *frameCheck) open(fsys FS, folder string) (err error) {
	if c.zip, err = newExpander(); err != nil {
		return err
	}
	f, err := fsys.OpenFile(filepath.Join(folder, intakeName), os.O_RDONLY, 0)
	if err != nil {
		return err
	}
	c.f, c.next = f, intakeHeader
	info, err := f.Stat()
	if err != nil {
		return err
	}
	c.size = info.Size()
	var head [intakeHeader]byte
	if _, err := f.ReadAt(head[:], 0); err != nil {
		return fmt.Errorf("its header: %w", err)
	}
	if !bytes.Equal(head[:], appendIntakeHeader(nil)) {
		return fmt.Errorf("its first %d bytes are not the header of format %d", intakeHeader, formatVersion)
	}
	return nil
}

func (c *frameCheck) close() {
	if c.zip != nil {
		c.zip.close()
	}
	if c.f != nil {
		c.f.Close()
	}
}

// check says what is wrong with the frame that ref vouches for; empty: nothing.
func (c *frameCheck) check(ref *FrameRef) (what string) {
	begins, number, first := c.next, c.frame, c.items
	c.next = ref.Offset + framePrefix + int64(ref.Length)
	c.frame, c.items = ref.Frame+1, ref.First+uint64(max(0, ref.Items))
	if ref.Offset != begins || ref.Frame != number || ref.First != first {
		return fmt.Sprintf("the chain says frame %d at byte %d after %d items, where frame %d at byte %d after %d items is due",
			ref.Frame, ref.Offset, ref.First, number, begins, first)
	}
	raw, err := c.read(ref)
	if err != nil {
		return err.Error()
	}
	return matchItems(raw, ref)
}

// read gives the decompressed frame, once its bytes are the ones in the chain.
func (c *frameCheck) read(ref *FrameRef) ([]byte, error) {
	if c.f == nil {
		return nil, fmt.Errorf("cannot be read")
	}
	if ref.Length < 0 || ref.Length > 2*MaxFrame || ref.Offset < 0 {
		return nil, fmt.Errorf("%d bytes at %d cannot be a frame", ref.Length, ref.Offset)
	}
	if n := framePrefix + ref.Length; cap(c.buf) < n {
		c.buf = make([]byte, n)
	}
	b := c.buf[:framePrefix+ref.Length]
	if n, err := c.f.ReadAt(b, ref.Offset); n < len(b) {
		return nil, fmt.Errorf("has %d of its %d bytes: %w", n, len(b), err)
	}
	if n := binary.LittleEndian.Uint32(b); int64(n) != int64(ref.Length) {
		return nil, fmt.Errorf("altered: its prefix says %d bytes, the chain %d", n, ref.Length)
	}
	if sum := hashOf(b[framePrefix:]); sum != ref.SHA256 {
		return nil, fmt.Errorf("altered: SHA-256 %.12s…, the chain says %.12s…", sum, ref.SHA256)
	}
	return c.zip.expand(b[framePrefix:])
}

func matchItems(raw []byte, ref *FrameRef) string {
	var from, to time.Duration
	seen := 0
	n, err := eachItem(raw, func(it *Item) error {
		if seen == 0 {
			from = it.At
		}
		to = it.At
		seen++
		return nil
	})
	switch {
	case err != nil:
		return err.Error()
	case n != ref.Items || from != ref.From || to != ref.To:
		return fmt.Sprintf("holds %d items from %v to %v, the chain says %d from %v to %v", n, from, to, ref.Items, ref.From, ref.To)
	}
	return ""
}

// checkSeal checks the counts and the signature.
func (v *verifier) checkSeal(r rawLine, l *Line) {
	v.sealed = true
	count := v.r.Count
	if err := json.Unmarshal(l.Body, &v.seal); err != nil {
		v.problem(eventsName, r.n, -1, r.off, "the seal cannot be read: %v", err)
		return
	}
	if !bytes.Equal(l.Body, encodeBody(v.seal)) {
		v.problem(eventsName, r.n, -1, r.off, "the seal is not in the form a trail writes")
	}
	if s := &v.seal; s.Lines != r.n || s.Frames != v.r.Frames || s.Items != v.r.Items {
		v.problem(eventsName, r.n, -1, r.off, "the seal counts %d lines, %d frames and %d items; there are %d, %d and %d",
			s.Lines, s.Frames, s.Items, r.n, v.r.Frames, v.r.Items)
	}
	if v.meta == nil || !signatureHolds(v.meta.Public, v.seal.Signature, r.text) {
		v.problem(eventsName, r.n, -1, r.off, "the signature does not fit the line and the public key of the first record")
	}
	v.r.Sealed = v.r.Count == count
}

func signatureHolds(public, signature string, line []byte) bool {
	pub, err := hex.DecodeString(public)
	if err != nil || len(pub) != ed25519.PublicKeySize {
		return false
	}
	sig, err := hex.DecodeString(signature)
	end := bytes.LastIndex(line, []byte(signatureMark))
	return err == nil && end > 0 && hex.EncodeToString(sig) == signature && ed25519.Verify(pub, line[:end], sig)
}

// sealLike says whether a line of another kind has the body of a seal: the last
// line has no line after it that would vouch for its kind.
func sealLike(l *Line) bool {
	return l.Kind != KindSeal && bytes.Contains(l.Body, []byte(signatureMark)) && bytes.Contains(l.Body, []byte(`,"intake_bytes":`))
}

// neighbours compares this session with what later ones say of it.
func (v *verifier) neighbours() {
	dir, base := filepath.Split(filepath.Clean(v.folder))
	if dir == "" {
		dir = "."
	}
	entries, err := v.fs.ReadDir(dir)
	if err != nil {
		v.note("what stands beside the session cannot be read: %v", err)
		return
	}
	vouched := false
	for _, e := range entries {
		if _, ok := stampOf(e.Name()); ok && e.IsDir() && e.Name() > base {
			vouched = v.neighbour(filepath.Join(dir, e.Name()), base) || vouched
		}
	}
	if _, err := v.fs.Stat(filepath.Join(v.folder, tornName)); err == nil && !vouched {
		v.note("%s holds what a crash left half-written; no later session vouches for it", tornName)
	}
}

// neighbour reads one later session; true where it vouches for the torn bytes.
func (v *verifier) neighbour(folder, base string) (vouches bool) {
	f, err := v.fs.OpenFile(filepath.Join(folder, eventsName), os.O_RDONLY, 0)
	if err != nil {
		return false
	}
	defer f.Close()
	m, first, err := readMeta(f)
	if err != nil {
		return false
	}
	switch p := m.Previous; {
	case p == nil || p.Folder != base:
	case p.Head == v.r.Head && p.Lines == v.r.Lines:
		v.r.Next = m.Session
	default:
		v.problem(eventsName, v.r.Lines, -1, 0, "session %s says it ended at line %d with head %.12s…; it ends at line %d with %.12s…: its end was cut off or altered",
			m.Session, p.Lines, p.Head, v.r.Lines, v.r.Head)
	}
	info, err := f.Stat()
	if err != nil {
		return false
	}
	// What was recovered stands right behind the first line.
	_ = eachRaw(io.NewSectionReader(f, 0, info.Size()), func(r rawLine) error {
		l, err := parseLine(r.text)
		if err != nil || (l.Kind != KindRecovered && l.Hash != first.Hash) {
			return io.EOF
		}
		var rec Recovered
		if l.Kind == KindRecovered && json.Unmarshal(l.Body, &rec) == nil && rec.Folder == base {
			vouches = v.recovered(&rec, m.Session) || vouches
		}
		return nil
	})
	return vouches
}

// recovered checks the bytes that only the next session's chain vouches for.
func (v *verifier) recovered(rec *Recovered, by string) bool {
	if rec.LooseSHA256 != "" && v.intake.f != nil {
		if _, sum, err := hashFrom(v.intake.f, v.intake.next); err != nil || sum != rec.LooseSHA256 {
			v.problem(intakeName, 0, -1, v.intake.next, "the %d bytes after the last frame in the chain are not the ones that session %s found (%v)", rec.Loose, by, err)
		}
	}
	if rec.TornFile == "" {
		return false
	}
	torn, err := readAll(v.fs, filepath.Join(v.folder, tornName), 4*MaxTail)
	if err != nil || hashOf(torn) != rec.TornSHA256 {
		v.problem(tornName, 0, -1, 0, "altered: not the %d bytes that session %s found (%v)", rec.Torn, by, err)
		return true
	}
	v.note("%s holds %d bytes that a crash left half-written; session %s vouches for them", tornName, rec.Torn, by)
	return true
}

// hashFrom hashes a file from an offset to its end.
func hashFrom(f Handle, from int64) (n int64, sum string, err error) {
	info, err := f.Stat()
	if err != nil || info.Size() <= from {
		return 0, "", err
	}
	h := sha256.New()
	n, err = io.Copy(h, io.NewSectionReader(f, from, info.Size()-from))
	return n, hex.EncodeToString(h.Sum(nil)), err
}
