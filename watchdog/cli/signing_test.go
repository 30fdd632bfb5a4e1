package cli

import (
	"encoding/hex"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pinfold/watchdog/link"
	"pinfold/watchdog/link/mosquittotest"
	"pinfold/watchdog/link/sign"
	"pinfold/watchdog/link/wire"
)

func TestKeyCommand(t *testing.T) {
	file := filepath.Join(t.TempDir(), "wren.key")
	code, text := mainOf("key", "--new", file)
	if code != exitFine || !strings.Contains(text, "fingerprint ") {
		t.Fatalf("exit status %d: %s", code, text)
	}
	k, err := sign.ReadKey(file)
	if err != nil {
		t.Fatal(err)
	}
	if again, said := mainOf("key", file); again != exitFine || said != text || !strings.Contains(said, k.Fingerprint()) || strings.Contains(said, hex.EncodeToString(k[:4])) {
		t.Errorf("exit status %d: %s, want %s and not the key", again, said, text)
	}
	if code, said := mainOf("key", "--new", file); code != exitError || !strings.Contains(said, "is there already") {
		t.Errorf("a key written over: exit status %d: %s", code, said)
	}
	if err := os.Chmod(file, 0o644); err != nil {
		t.Fatal(err)
	}
	if code, said := mainOf("key", file); code != exitError || !strings.Contains(said, "chmod 600") {
		t.Errorf("a key that all may read: exit status %d: %s", code, said)
	}
	if code, said := mainOf("key", filepath.Join(file, "x")); code != exitError || said == "" {
		t.Errorf("no key: exit status %d: %s", code, said)
	}
}

func mainOf(args ...string) (int, string) {
	var out strings.Builder
	code := Main(args, nil, &out, &out)
	return code, out.String()
}

// signedSite is a site where all is signed, with the keys' files beside it. Each
// takes the keys that are its own: without are the kinds that are left out.
func signedSite(t *testing.T, url, dir string, kinds ...string) string {
	t.Helper()
	text, err := os.ReadFile(patientSite(t, url))
	if err != nil {
		t.Fatal(err)
	}
	keys := "[vehicle.signing]\n"
	for _, k := range kinds {
		keys += k + " = \"" + k + "\"\n"
	}
	at := strings.Index(string(text), "[vehicle.limits]")
	return write(t, filepath.Join(dir, strings.Join(kinds, "-")+".toml"), string(text[:at])+keys+string(text[at:]))
}

// signingKeys writes a key of each kind to dir.
func signingKeys(t *testing.T, dir string) map[string]*sign.Key {
	t.Helper()
	keys := map[string]*sign.Key{}
	for _, kind := range []string{"key_file", "request_key_file", "pose_key_file"} {
		keys[kind] = sign.NewKey()
		if err := sign.WriteKey(filepath.Join(dir, kind), keys[kind]); err != nil {
			t.Fatal(err)
		}
	}
	return keys
}

// What the guard was sent with a good signature does nothing when somebody who
// listened sends it again: a start has a nonce, a pose a stamp and a number.
func TestSignedMessagesAreNotReplayedToTheGuard(t *testing.T) {
	t.Parallel()
	b, dir := mosquittotest.Start(t), t.TempDir()
	keys, desk := signingKeys(t, dir), signedSite(t, b.URL, dir, "request_key_file")
	guard := start(t, "run", "--site", signedSite(t, b.URL, dir, "key_file", "request_key_file", "pose_key_file"), "--trail", t.TempDir())
	guard.waitFor("watching")
	l, requests := listen(t, b.URL, "wren"), requestsOn(t, b.URL)
	tracker := sign.New(keys["pose_key_file"], l.topics.Pose)
	outside := tracker.Sign(poseMessage(time.Now().UnixNano(), 0, 500, 2, 1.5))
	l.send(l.topics.Pose, outside, false)
	stop := make(chan struct{})
	t.Cleanup(func() { close(stop) })
	go trackSigned(l, tracker, stop)
	granted := func(act string) {
		t.Helper()
		within(t, 30*time.Second, act+" is granted", func() bool { code, _ := ask(act, "--site", desk); return code == exitFine })
	}
	granted("start")
	l.send(l.topics.Pose, outside, false)
	if time.Sleep(300 * time.Millisecond); l.last().Level != "clear" {
		t.Errorf("level %s: a pose that was sent again counts", l.last().Level)
	}
	granted("stop")
	granted("reset")
	var m link.Message
	sent := 0
	for requests.Take(&m) {
		if r, err := wire.DecodeRequest(m.Payload); err == nil && r.Ask == "start" {
			l.send(l.topics.Request, m.Payload, false)
			sent++
		}
	}
	if sent == 0 {
		t.Fatal("no start was heard")
	}
	guard.waitFor("refused: the nonce is not the one in the current state")
	if time.Sleep(300 * time.Millisecond); l.last().Level != "waiting" || l.last().Go {
		t.Errorf("level %s, go %v: a start that was sent again counts", l.last().Level, l.last().Go)
	}
	if strings.Contains(guard.text(), "count as none") {
		t.Error("something was refused for its signature, so this shows nothing")
	}
}

// requestsOn gathers what is asked on the broker.
func requestsOn(t *testing.T, url string) *link.Inbox {
	t.Helper()
	in, err := link.NewInbox()
	if err != nil {
		t.Fatal(err)
	}
	begun := time.Now()
	c, err := link.Dial(link.Options{URL: url, ClientID: "eavesdropper", Now: func() time.Duration { return time.Since(begun) },
		Subs: []link.Sub{{Topic: "pinfold/wren/request", QoS: 1, Inbox: in}}})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = c.Close(time.Second) })
	within(t, 10*time.Second, "the eavesdropper's link is up", c.Up)
	return in
}

// TestWholeJobSigned: guard, tracker, relay and operator with keys, and somebody
// on the same broker without: nothing that is forged moves the vehicle, ties it,
// or moves its pose; a stop that is not signed stops it all the same.
func TestWholeJobSigned(t *testing.T) {
	t.Parallel()
	b, dir := mosquittotest.Start(t), t.TempDir()
	keys, trail := signingKeys(t, dir), t.TempDir()
	guard := start(t, "run", "--site", signedSite(t, b.URL, dir, "key_file", "request_key_file", "pose_key_file"), "--trail", trail)
	guard.waitFor("watching")
	desk := signedSite(t, b.URL, dir, "request_key_file")
	l := listen(t, b.URL, "wren") // who is forging
	stop := make(chan struct{})
	t.Cleanup(func() { close(stop) })
	go trackSigned(l, sign.New(keys["pose_key_file"], l.topics.Pose), stop)
	log := filepath.Join(dir, "log")
	r := start(t, "relay", "--site", signedSite(t, b.URL, dir, "key_file"), "--clock", "realtime", "--feed", "exec cat > "+log)
	goes := func() bool {
		b, err := os.ReadFile(log)
		return err == nil && strings.HasSuffix(string(b), "go\n")
	}
	start := func() {
		t.Helper()
		within(t, 30*time.Second, "a signed start is granted", func() bool { code, _ := ask("start", "--site", desk); return code == exitFine })
		within(t, 10*time.Second, "the relay goes", goes)
	}

	within(t, 30*time.Second, "only signatures are wanting", func() bool { return l.last().Session != "" && len(l.last().Blocked) == 0 })
	unsigned := patientSite(t, b.URL)
	if code, text := ask("start", "--site", unsigned, "--wait", "700ms"); code != exitFound || !strings.Contains(text, "no answer within") {
		t.Errorf("an unsigned start: exit status %d: %s", code, text)
	}
	guard.waitFor("not signed with this vehicle's key and count as none, the newest a request")
	if l.granted() > 0 {
		t.Fatal("an unsigned start was granted")
	}
	forgePermits(l, sign.NewKey())
	if time.Sleep(100 * time.Millisecond); goes() {
		t.Fatal("the relay goes by a forged permit")
	}
	guard.waitFor("another guard is at work") // and so the guard has stopped
	within(t, 10*time.Second, "the forged guard is forgotten and a reset is granted", func() bool { code, _ := ask("reset", "--site", desk); return code == exitFine })
	start()

	forgeAndStop(t, l, guard, r, desk, unsigned, goes, start)
	for _, p := range []*process{guard, r} {
		for kind, k := range keys {
			if strings.Contains(p.text(), hex.EncodeToString(k[:4])) {
				t.Errorf("the %s's key stands in a log", kind)
			}
		}
	}
	noSecretsIn(t, sessionIn(t, trail), keys)
}

// forgeAndStop shows a vehicle that goes poses, commands and requests that are not
// signed: a pose is as none, and the rest stops.
func forgeAndStop(t *testing.T, l *listener, guard, r *process, desk, unsigned string, goes func() bool, start func()) {
	t.Helper()
	l.send(l.topics.Pose, poseMessage(time.Now().UnixNano(), 1<<40, 500, 2, 1.5), false) // outside, if it counted
	if time.Sleep(300 * time.Millisecond); !goes() || l.last().Level != "clear" {
		t.Errorf("a forged pose counts: level %s", l.last().Level)
	}
	for what, halt := range map[string]func(){
		"an unsigned command": func() {
			c := wire.Command{ID: "forged", Seq: 1, Action: wire.Land, Cause: "zone"}
			l.send(l.topics.Command, c.Append(nil), false)
			r.waitFor("halt (stop): a stop command is latched")
		},
		"an unsigned request": func() { _, _ = ask("stop", "--site", unsigned, "--by", "passer-by") },
	} {
		halt()
		within(t, 10*time.Second, what+" stops", func() bool { return !goes() })
		if code, text := ask("stop", "--site", desk); code != exitFine {
			t.Fatal(text)
		}
		within(t, 10*time.Second, "a reset is granted", func() bool { code, _ := ask("reset", "--site", desk); return code == exitFine })
		start()
	}
	if !strings.Contains(guard.text(), "unsigned: passer-by") {
		t.Error("the log does not say that a stop was not signed")
	}
}

// noSecretsIn looks for keys in a session's files.
func noSecretsIn(t *testing.T, folder string, keys map[string]*sign.Key) {
	t.Helper()
	files := 0
	err := filepath.WalkDir(folder, func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		b, err := os.ReadFile(path)
		files++
		for kind, k := range keys {
			if strings.Contains(string(b), hex.EncodeToString(k[:])) || strings.Contains(string(b), string(k[:])) {
				t.Errorf("%s holds the %s's key", path, kind)
			}
		}
		return err
	})
	if err != nil || files < 3 {
		t.Fatalf("%d files in the trail, %v", files, err)
	}
}

// trackSigned publishes a still pose, signed, at 200 Hz until stop is closed.
func trackSigned(l *listener, s *sign.Signer, stop <-chan struct{}) {
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	for seq := uint64(1); ; seq++ {
		select {
		case <-stop:
			return
		case <-tick.C:
			l.keepSending(stop, s.Sign(poseMessage(time.Now().UnixNano(), seq, 3+float64(seq%7)*1e-5, 2, 1.5)))
		}
	}
}

// forgePermits says no and then yes, freshly, as a guard would: unsigned, with
// another key, and signed for another vehicle.
func forgePermits(l *listener, other *sign.Key) {
	mole := strings.Replace(l.topics.Permit, "wren", "mole", 1)
	for i, s := range []*sign.Signer{nil, sign.New(other, l.topics.Permit), sign.New(other, mole)} {
		for seq := range uint64(3) {
			p := wire.Permit{Guard: "pinfold", Session: "forged" + string(rune('a'+i)), Seq: seq + 1, Go: seq > 0,
				Stamp: time.Now().UnixNano(), Valid: 1}
			l.send(l.topics.Permit, s.Sign(p.Append(nil)), false)
		}
	}
}
