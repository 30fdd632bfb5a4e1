package trail

import (
	"bytes"
	"crypto/ed25519"
	"encoding/hex"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

var update = flag.Bool("update", false, "write the golden lines anew; a changed line needs a new format version")

// goldenBodies is one body of every kind that the trail itself writes.
func goldenBodies() map[string]any {
	wall := time.Date(2026, 3, 1, 9, 30, 1, 500, time.UTC)
	hash := strings.Repeat("0123456789abcdef", 4)
	return map[string]any{
		KindSession: Meta{Format: 1, Session: "s2", Guard: "g1", Site: "Brackenfield workshop hall", Version: "1.0", Started: wall,
			Behind: 2, Public: hash, Vehicles: []string{"wren", "mole"}, Topics: []string{"pinfold/wren/pose", "pinfold/mole/pose"},
			Files:    []FileRef{{Name: "site.toml", Bytes: 22, SHA256: hash}},
			Previous: &Previous{Session: "s1", Folder: "20260301T093000Z-s1", Sealed: true, Lines: 9, Head: hash}},
		KindIntake: FrameRef{Frame: 3, Offset: 16, Length: 4096, SHA256: hash, First: 600, Items: 200, From: 3e9, To: 3995e6, Wall: wall},
		KindGap:    Gap{Items: 7, AfterItems: 800, Events: 1, From: 4e9, To: 5e9, Why: "could not be written: no space left on device"},
		KindLate:   Late{Line: 12, Kind: "request"},
		KindRecovered: Recovered{Session: "s1", Folder: "20260301T093000Z-s1", Lines: 9, Head: hash, Torn: 17, TornFile: tornName,
			TornSHA256: hash, Loose: 4100, LooseSHA256: hash, Why: "ended without a seal"},
		KindRemoved: Removed{Session: "s0", Folder: "20260228T120000Z-s0", Started: wall, Sealed: true, Stops: 0, Bytes: 1 << 20,
			Lines: 99, Head: hash, Why: "oldest of the sessions, which held 2147483700 bytes; the bound is 2147483648"},
		KindSpace:  Space{Warn: "104857600 bytes are free on the disk of the trail: free some", Bytes: 5 << 20, Bound: 2 << 30, Free: 100 << 20},
		KindClock:  Clock{Stepped: -3600, Wall: wall},
		KindSigned: Signed{About: "walk", Record: []byte(`{"vehicle":"wren","walked":9}`), Signature: strings.Repeat("0123456789abcdef", 8)},
		KindSeal: Seal{Lines: 42, Frames: 4, Items: 800, Intake: 16400, Stops: 1, Lost: 8,
			Signature: strings.Repeat("0123456789abcdef", 8)},
	}
}

// TestGoldenLines holds every kind of line to its frozen bytes. The files are
// annotated: what begins with '#' is a comment.
func TestGoldenLines(t *testing.T) {
	for kind, body := range goldenBodies() {
		name := filepath.Join("testdata", "lines", kind+".txt")
		got := appendLine(nil, 7, strings.Repeat("fedcba9876543210", 4), 4_500_000_000, "", kind, encodeBody(body))
		if *update {
			updateGolden(t, name, got)
		}
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		want, notes := splitGolden(text)
		if string(got) != string(want) {
			t.Errorf("%s: frozen bytes changed\n got %s\nwant %s", kind, got, want)
		}
		if _, err := parseLine(want); err != nil {
			t.Errorf("%s: %v", kind, err)
		}
		for key := range bytes.SplitSeq(encodeBody(body), []byte(`"`)) {
			if s := string(key); strings.HasSuffix(s, "_bytes") && !strings.Contains(notes, s) {
				t.Errorf("%s: %s has no note", name, s)
			}
		}
	}
}

func splitGolden(text []byte) (line []byte, notes string) {
	for l := range strings.SplitSeq(strings.TrimSuffix(string(text), "\n"), "\n") {
		if strings.HasPrefix(l, "#") {
			notes += l + "\n"
		} else {
			line = append(line, l...)
		}
	}
	return line, notes
}

func updateGolden(t *testing.T, name string, line []byte) {
	t.Helper()
	text, err := os.ReadFile(name)
	if err != nil && !os.IsNotExist(err) {
		t.Fatal(err)
	}
	_, notes := splitGolden(text)
	if err := os.WriteFile(name, []byte(notes+string(line)+"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
}

// TestFrozenSession proves and reads a session that was written once and is
// kept: any later program must still read format 1.
func TestFrozenSession(t *testing.T) {
	folder := filepath.Join("testdata", "trail", "20260301T093000Z-frozen")
	if *update {
		writeFrozen(t, folder)
	}
	head, err := os.ReadFile(filepath.Join("testdata", "trail", "head.txt"))
	if err != nil {
		t.Fatal(err)
	}
	r := mustVerify(t, folder, strings.TrimSpace(string(head)))
	if !r.Sealed || r.Items != 60 || r.Public != rfc8032Public || r.HeadAt != r.Lines {
		t.Errorf("report %+v", r)
	}
	rd, err := Open(folder)
	if err != nil {
		t.Fatal(err)
	}
	defer rd.Close()
	var raw []byte
	if err := rd.Items(func(it *Item) error { raw = appendItem(raw, it); return nil }); err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(filepath.Join("testdata", "item.txt"))
	if err != nil {
		t.Fatal(err)
	}
	want, _ := splitGolden(text)
	if got := hex.EncodeToString(raw[:itemHeader+53]); got != strings.ReplaceAll(string(want), " ", "") {
		t.Errorf("first item's bytes\n got %s\nwant %s", got, want)
	}
}

func writeFrozen(t *testing.T, folder string) {
	t.Helper()
	o := testOptions(t)
	o.Dir, o.Session, o.KeyFile = filepath.Dir(folder), "frozen", ""
	o.Wall = func() time.Time { return o.Started }
	now := time.Duration(0)
	o.Now = func() time.Duration { return now }
	if err := os.RemoveAll(o.Dir); err != nil {
		t.Fatal(err)
	}
	key := rfc8032Key(t)
	keyFile := filepath.Join(t.TempDir(), "seal.key")
	writeKeyFile(t, keyFile, key)
	o.KeyFile = keyFile
	w := mustCreate(t, o)
	give(w, 0, 60)
	w.Event("wren", "command", 300*time.Millisecond, map[string]string{"action": "stop"})
	s := mustClose(t, w)
	if err := os.WriteFile(filepath.Join(o.Dir, "head.txt"), []byte(s.Head+"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	os.Remove(filepath.Join(o.Dir, lockName))
}

// RFC 8032 §7.1, test 2.
const (
	rfc8032Secret    = "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb"
	rfc8032Public    = "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c"
	rfc8032Message   = "72"
	rfc8032Signature = "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da" +
		"085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"
)

func rfc8032Key(t *testing.T) ed25519.PrivateKey {
	t.Helper()
	seed, err := hex.DecodeString(rfc8032Secret)
	if err != nil {
		t.Fatal(err)
	}
	return ed25519.NewKeyFromSeed(seed)
}

// TestSignatureAgainstRFC8032 puts the RFC's key through the trail's own key
// file and its message and signature through the trail's own check.
func TestSignatureAgainstRFC8032(t *testing.T) {
	name := filepath.Join(t.TempDir(), "k")
	writeKeyFile(t, name, rfc8032Key(t))
	if pub, err := PublicKey(name); err != nil || pub != rfc8032Public {
		t.Errorf("public key %s, %v", pub, err)
	}
	line := "\x72" + signatureMark + rfc8032Signature + `"}}`
	if !signatureHolds(rfc8032Public, rfc8032Signature, []byte(line)) {
		t.Error("the RFC's signature does not hold")
	}
	if signatureHolds(rfc8032Public, rfc8032Signature, []byte("\x73"+line[1:])) ||
		signatureHolds(rfc8032Public, strings.ToUpper(rfc8032Signature), []byte(line)) ||
		signatureHolds(rfc8032Public[2:], rfc8032Signature, []byte(line)) {
		t.Error("an altered one holds")
	}
}

// TestHashAgainstFIPS180 is the standard's "abc".
func TestHashAgainstFIPS180(t *testing.T) {
	if got := hashOf([]byte("abc")); got != "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad" {
		t.Errorf("SHA-256 of abc is %s", got)
	}
}
