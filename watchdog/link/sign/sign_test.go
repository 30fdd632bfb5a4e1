package sign

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// topics of the golden messages.
const (
	wren = "pinfold/wren/permit"
	mole = "pinfold/mole/permit"
)

func golden(t *testing.T, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	return bytes.TrimSpace(b)
}

func goldenKey(t *testing.T) *Key {
	t.Helper()
	k, err := ParseKey(golden(t, "key"))
	if err != nil {
		t.Fatal(err)
	}
	return k
}

// The frozen bytes: what was signed once is signed the same for good.
func TestGolden(t *testing.T) {
	k := goldenKey(t)
	for name, topic := range map[string]string{"permit-go": wren, "command-zone": "pinfold/wren/command", "request": "pinfold/wren/request"} {
		plain, err := os.ReadFile("../wire/testdata/" + name + ".json")
		if err != nil {
			t.Fatal(err)
		}
		plain = bytes.TrimSpace(plain)
		want := golden(t, name+"-signed.json")
		s := New(k, topic)
		if got := s.Sign(append([]byte(nil), plain...)); !bytes.Equal(got, want) || len(got) != len(plain)+Length {
			t.Errorf("%s: signed\n%s, want\n%s", name, got, want)
		}
		if !s.Check(want) || !json.Valid(want) {
			t.Errorf("%s: what is kept is not taken", name)
		}
	}
}

// An implementation that is not ours comes to the same: Python's hmac and hashlib.
func TestPythonSignsTheSame(t *testing.T) {
	python, err := exec.LookPath("python3")
	if err != nil {
		t.Skip("python3 is not installed; install it (Debian: apt-get install python3) to run this test")
	}
	const script = `
import hashlib, hmac, sys
key, topic, body = bytes.fromhex(sys.argv[1]), sys.argv[2].encode(), sys.argv[3].encode()
print(hmac.new(key, topic + b"\0" + body, hashlib.sha256).hexdigest())`
	k := goldenKey(t)
	for _, body := range []string{`{"a":1`, `{"guard":"hall","go":true`, `{"x":"ü"`, `{"x":"` + strings.Repeat("y", 500) + `"`} {
		out, err := exec.Command(python, "-c", script, hex.EncodeToString(k[:]), wren, body).Output()
		if err != nil {
			t.Fatal(err)
		}
		want := body + member + strings.TrimSpace(string(out)) + end
		if got := New(k, wren).Sign([]byte(body + "}")); string(got) != want {
			t.Errorf("got %s, want %s", got, want)
		}
	}
}

func TestOnlyTheVeryMessageIsTaken(t *testing.T) {
	k := goldenKey(t)
	s, good := New(k, wren), golden(t, "permit-go-signed.json")
	for i := range good {
		for _, bit := range []byte{1, 0x20, 0x80} {
			bad := append([]byte(nil), good...)
			bad[i] ^= bit
			if s.Check(bad) {
				t.Errorf("bit %#x of byte %d changed, and taken: %s", bit, i, bad)
			}
		}
	}
	other := *k
	other[0] ^= 1
	for name, ok := range map[string]bool{
		"another vehicle":    New(k, mole).Check(good),
		"another kind":       New(k, "pinfold/wren/command").Check(good),
		"another site":       New(k, "yard/wren/permit").Check(good),
		"another key":        New(&other, wren).Check(good),
		"a space after it":   s.Check(append(append([]byte(nil), good...), ' ')),
		"digits upper case":  s.Check(bytes.Replace(good, good[len(good)-20:len(good)-2], bytes.ToUpper(good[len(good)-20:len(good)-2]), 1)),
		"no signature":       s.Check(golden(t, "../../wire/testdata/permit-go.json")),
		"nothing":            s.Check(nil),
		"a signature alone":  s.Check(good[len(good)-Length-1:]),
		"signed twice":       s.Check(New(&other, wren).Sign(append([]byte(nil), good...))),
		"cut at its front":   s.Check(good[1:]),
		"members in between": s.Check(bytes.Replace(good, []byte(member), []byte(`,"go":true`+member), 1)),
	} {
		if ok {
			t.Errorf("%s: taken", name)
		}
	}
}

func TestWithoutAKey(t *testing.T) {
	s := New(nil, wren)
	if got := s.Sign([]byte(`{"a":1}`)); string(got) != `{"a":1}` || !s.Check([]byte("anything")) {
		t.Errorf("a nil Signer is in the way: %s", got)
	}
	for _, b := range []string{"", "{}", "[1,2,3,4]", `{"a":1`} {
		if got := New(goldenKey(t), wren).Sign([]byte(b)); string(got) != b {
			t.Errorf("%q was signed: %s", b, got)
		}
	}
}

func TestNoAllocation(t *testing.T) {
	s, good := New(goldenKey(t), wren), golden(t, "permit-go-signed.json")
	plain := make([]byte, 0, 2*len(good))
	if n := testing.AllocsPerRun(100, func() {
		plain = s.Sign(append(plain[:0], good...))
		if !s.Check(good) {
			t.Fatal("refused")
		}
	}); n != 0 {
		t.Errorf("%v allocations, want none", n)
	}
}

func TestKeyFiles(t *testing.T) {
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	k := NewKey()
	if err := WriteKey(at("wren.key"), k); err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(at("wren.key")); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("%v, %v", info.Mode(), err)
	}
	if got, err := ReadKey(at("wren.key")); err != nil || *got != *k || got.Fingerprint() != k.Fingerprint() {
		t.Errorf("%v, %v", got, err)
	}
	if err := WriteKey(at("wren.key"), NewKey()); err == nil || !strings.Contains(err.Error(), "is there already") {
		t.Errorf("a key was written over: %v", err)
	}
	if got, err := ReadKey(""); got != nil || err != nil {
		t.Errorf("no file: %v, %v", got, err)
	}
	text := hex.EncodeToString(k[:])
	for name, c := range map[string]struct {
		text, want string
		mode       os.FileMode
	}{
		"group may read": {text, "chmod 600", 0o640},
		"all may write":  {text, "chmod 600", 0o602},
		"empty":          {"", "it is empty", 0o600},
		"short":          {text[1:], "64 hexadecimal digits", 0o600},
		"long":           {text + "00", "64 hexadecimal digits", 0o600},
		"very long":      {strings.Repeat(text, 1000), "64 hexadecimal digits", 0o600},
		"no digits":      {strings.Repeat("x", 64), "64 hexadecimal digits", 0o600},
		"zeros":          {strings.Repeat("0", 64), "all zeros", 0o600},
	} {
		if err := os.WriteFile(at(name), []byte(c.text), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Chmod(at(name), c.mode); err != nil {
			t.Fatal(err)
		}
		got, err := ReadKey(at(name))
		if err == nil || got != nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), text[1:20]) {
			t.Errorf("%s: %v, want it to say %q and not the key", name, err, c.want)
		}
	}
	if err := syscall.Mkfifo(at("pipe"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := ReadKey(at("pipe")); err == nil || !strings.Contains(err.Error(), "is not a file") { // and does not wait
		t.Errorf("a pipe: %v", err)
	}
	if _, err := ReadKey(dir); err == nil {
		t.Error("a folder was read")
	}
	if _, err := ReadKey(at("nowhere")); err == nil {
		t.Error("a file that is not there was read")
	}
}

// What systemd hands to a service is readable by the group of its list, and counts
// as private there alone.
func TestCredentialOfAService(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "key")
	if err := WriteKey(path, NewKey()); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		dir  string
		mode os.FileMode
		ok   bool
	}{{dir, 0o440, true}, {dir + "/", 0o440, true}, {dir, 0o444, false}, {dir, 0o460, false}, {"", 0o440, false}, {filepath.Dir(dir), 0o440, false}} {
		t.Setenv("CREDENTIALS_DIRECTORY", c.dir)
		if err := os.Chmod(path, c.mode); err != nil {
			t.Fatal(err)
		}
		if _, err := ReadKey(path); (err == nil) != c.ok {
			t.Errorf("mode %04o, folder %q: %v", c.mode, c.dir, err)
		}
	}
}

// A key that is printed by mistake is not given away.
func TestKeyIsNotPrinted(t *testing.T) {
	k := goldenKey(t)
	for _, s := range []string{fmt.Sprint(k, *k), fmt.Sprintf("%v %+v %#v %s %q %v %#v", k, k, k, k, k, *k, *k)} {
		if strings.Contains(s, hex.EncodeToString(k[:4])) || strings.Contains(s, fmt.Sprint(k[0], k[1])) {
			t.Errorf("%s", s)
		}
	}
}

// FuzzCheck: nothing is taken but what Sign made of its own beginning.
func FuzzCheck(f *testing.F) {
	k, err := ParseKey(bytes.Repeat([]byte("1f"), Size))
	if err != nil {
		f.Fatal(err)
	}
	s := New(k, wren)
	f.Add([]byte(`{"a":1}`))
	f.Add(s.Sign([]byte(`{"a":1}`)))
	f.Add([]byte(member + strings.Repeat("0", digits) + end))
	f.Fuzz(func(t *testing.T, b []byte) {
		if s.Check(b) {
			body := append(append([]byte(nil), b[:len(b)-Length-1]...), '}')
			if got := s.Sign(body); !bytes.Equal(got, b) {
				t.Fatalf("%q is taken, and Sign makes %q", b, got)
			}
		}
		if signed := s.Sign(append([]byte(nil), b...)); !bytes.Equal(signed, b) && !s.Check(signed) {
			t.Fatalf("%q is signed and not taken", signed)
		}
	})
}

func BenchmarkCheck(b *testing.B) {
	k, err := ParseKey(bytes.Repeat([]byte("1f"), Size))
	if err != nil {
		b.Fatal(err)
	}
	s := New(k, wren)
	good := s.Sign([]byte(`{"guard":"hall","session":"4f1d20a7","seq":812,"go":true,"stamp":1512.318402,"valid":0.25}`))
	b.ReportAllocs()
	for b.Loop() {
		if !s.Check(good) {
			b.Fatal("refused")
		}
	}
}
