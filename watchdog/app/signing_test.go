package app

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pinfold/config"
	"pinfold/watchdog/console/metrics"
	"pinfold/watchdog/link"
	"pinfold/watchdog/link/receiver"
	"pinfold/watchdog/link/sign"
	"pinfold/watchdog/link/wire"
)

// signedKeeper is a keeper whose messages are signed, and the three keys.
func signedKeeper(t *testing.T) (k *keeper, own, request, pose *sign.Key) {
	t.Helper()
	dir := t.TempDir()
	at := func(name string, key *sign.Key) string {
		path := filepath.Join(dir, name)
		if err := sign.WriteKey(path, key); err != nil {
			t.Fatal(err)
		}
		return path
	}
	own, request, pose = sign.NewKey(), sign.NewKey(), sign.NewKey()
	files := config.Signing{KeyFile: at("own", own), RequestFile: at("request", request), PoseFile: at("pose", pose)}
	k = listening("hall-2")
	var err error
	if k.topics, err = wire.Topics("pinfold", "wren"); err != nil {
		t.Fatal(err)
	}
	if k.signing, err = newSigning(&files, &k.topics); err != nil {
		t.Fatal(err)
	}
	return k, own, request, pose
}

// What is refused is told to whoever watches many guards, by its kind, the kinds
// of which nothing was refused as well.
func TestUnsignedIsToldByKind(t *testing.T) {
	k, _, _, _ := signedKeeper(t)
	r := runner{opt: Options{Site: &config.Site{Vehicles: []config.Vehicle{{Name: "wren"}}}}, now: k.now}
	of := r.measured()
	of.Trail = func() metrics.Trail { return metrics.Trail{} }
	k.metrics = metrics.New(of)
	start := wire.Request{Ask: "start", By: "desk", Nonce: "n"}
	k.accepts(&link.Message{Sub: subRequest, Payload: start.Append(nil)})
	for range 2 {
		k.accepts(&link.Message{Sub: subPose, Payload: []byte("{}")})
	}
	k.heardPermit(permitOf("other", 1))
	w := httptest.NewRecorder()
	k.metrics.Handler().ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/metrics", nil))
	for kind, n := range map[string]int{"request": 1, "pose": 2, "permit": 1, "ack": 0, "alignment": 0} {
		if want := fmt.Sprintf("pinfold_messages_unsigned_total{kind=%q,vehicle=\"wren\"} %d\n", kind, n); !strings.Contains(w.Body.String(), want) {
			t.Errorf("lacks %s", want)
		}
	}
}

// Each kind of message is taken with its own key and topic, and with no other.
func TestGuardTakesWhatIsSigned(t *testing.T) {
	k, own, request, pose := signedKeeper(t)
	start := wire.Request{Ask: "start", By: "desk", Nonce: "n"}
	align := wire.Align{By: "desk", Nonce: "n", File: "{}"}
	ack := wire.Ack{ID: "c1", Action: wire.Stop}
	place := []byte(`{"stamp":1,"seq":1}`)
	refused := uint64(0)
	for _, c := range []struct {
		sub     int
		payload []byte
		topic   string
		key     *sign.Key
	}{{subRequest, start.Append(nil), k.topics.Request, request}, {subAlign, align.Append(nil), k.topics.Align, request},
		{subAck, ack.Append(nil), k.topics.Ack, own}, {subPose, place, k.topics.Pose, pose}} {
		for _, key := range []*sign.Key{nil, own, request, pose} {
			m := link.Message{Sub: c.sub, Payload: sign.New(key, c.topic).Sign(append([]byte(nil), c.payload...))}
			if got := k.accepts(&m); got != (key == c.key) {
				t.Errorf("%s: %v, the right key %v", m.Payload, got, key == c.key)
			}
			if key != c.key {
				refused++
			}
		}
		m := link.Message{Sub: c.sub, Payload: sign.New(c.key, "pinfold/mole/pose").Sign(append([]byte(nil), c.payload...))}
		if k.accepts(&m) {
			t.Errorf("%s: signed for another topic, and taken", m.Payload)
		}
		if refused++; k.signing.refused != refused {
			t.Errorf("%d counted, want %d", k.signing.refused, refused)
		}
		long := link.Message{Sub: c.sub, TooLarge: true}
		if refused++; k.accepts(&long) || k.signing.refused != refused {
			t.Errorf("one that was cut is taken, or not counted")
		}
	}
}

// A stop needs no authority, but is under a name that says that it had none.
func TestUnsignedHaltIsCarriedOut(t *testing.T) {
	k, _, _, _ := signedKeeper(t)
	for _, ask := range []string{wire.Stop, wire.Land} {
		r := wire.Request{Ask: ask, By: strings.Repeat("x", wire.NameMax)}
		m := link.Message{Sub: subRequest, Payload: r.Append(nil)}
		if !k.accepts(&m) {
			t.Errorf("%s is refused", ask)
		}
		if got, err := wire.DecodeRequest(m.Payload); err != nil || got.Ask != ask || !strings.HasPrefix(got.By, "unsigned: x") {
			t.Errorf("%+v, %v", got, err)
		}
	}
	if k.signing.refused != 0 {
		t.Errorf("%d counted", k.signing.refused)
	}
}

// A fellow is heard by what it signs; what is forged in its name does not keep it alive.
func TestFellowIsHeardByItsSignature(t *testing.T) {
	k, own, _, _ := signedKeeper(t)
	p := wire.Permit{Guard: "hall-2", Session: "theirs", Seq: 1, Valid: 0.25}
	k.heardPermit(&link.Message{Payload: p.Append(nil)})
	if f := k.fellows.of("hall-2"); f.session != "" || k.signing.refused != 1 {
		t.Errorf("a forged permit counts: %+v", f)
	}
	k.heardPermit(&link.Message{Payload: sign.New(own, k.topics.Permit).Sign(p.Append(nil))})
	if f := k.fellows.of("hall-2"); f.session != "theirs" {
		t.Errorf("a signed permit does not count: %+v", f)
	}
}

// What comes without a signature under the guard's own session is counted, and no
// more: the vehicle takes it for none. Under another it is counted, and may be
// another guard all the same, which was started without the key.
func TestForgedPermitsAreCounted(t *testing.T) {
	k, _, _, _ := signedKeeper(t)
	k.heardPermit(permitOf("own", 1)) // the guard's own, on the way back
	k.heardPermit(permitOf("own", wire.MaxSeq))
	k.heardPermit(permitOf("other", 1))
	if k.signing.refused != 2 || k.rival.own.told || k.rival.heard[0].permits != 1 {
		t.Errorf("%d counted, want 2; %+v", k.signing.refused, k.rival)
	}
}

// What is said for the guard when it is gone, fails or ends is signed like the rest,
// and a vehicle with the key obeys it.
func TestLastWordsAreSigned(t *testing.T) {
	k, own, _, _ := signedKeeper(t)
	k.cfg.Guard = "hall-1"
	for what, say := range map[string]func(r *receiver.Receiver){
		"will":        func(r *receiver.Receiver) { r.AllCommand(k.will(), false, 7) },
		"fault":       func(r *receiver.Receiver) { r.Command(k.faultStop(1), false, 7) },
		"last permit": func(r *receiver.Receiver) { r.Permit(k.lastPermit(), false, 7) },
	} {
		r, err := receiver.New(receiver.Options{Key: own, Topics: k.topics})
		if err != nil {
			t.Fatal(err)
		}
		for seq := range uint64(2) {
			p := wire.Permit{Guard: "hall-1", Session: k.cfg.Session, Seq: seq + 1, Go: seq > 0, Stamp: 7, Valid: 0.25}
			r.Permit(k.signing.permit.Sign(p.Append(nil)), false, 7)
		}
		if !r.MayMove(7).Go {
			t.Fatal("no go")
		}
		say(r)
		if c := r.Counts(); r.MayMove(7).Go || c.Unsigned != 0 || c.Malformed != 0 {
			t.Errorf("%s: %+v, counted %+v", what, r.MayMove(7), c)
		}
	}
}

// A flood of forgeries does not fill log and trail.
func TestUnsignedIsSaidSeldom(t *testing.T) {
	k, _, _, _ := signedKeeper(t)
	said, total := 0, uint64(0)
	for at := time.Duration(0); at < time.Minute; at += 100 * time.Millisecond {
		k.unsigned(kindPose)
		if n := k.signing.news(at); n > 0 {
			said, total = said+1, total+n
		}
	}
	total += k.signing.news(2 * time.Minute)
	if said != 6 || total != 600 || k.signing.news(time.Hour) != 0 {
		t.Errorf("said %d times, %d in all; want 6 times and 600", said, total)
	}
	k.unsigned(kindAck)
	if k.signing.news(time.Hour+1) != 1 { // after a quiet while: at once
		t.Error("one after a quiet while is not said")
	}
}

func TestKeyThatIsNoneEndsTheStart(t *testing.T) {
	path := filepath.Join(t.TempDir(), "key")
	if err := os.WriteFile(path, []byte("secret word"), 0o600); err != nil {
		t.Fatal(err)
	}
	_, err := newSigning(&config.Signing{PoseFile: path}, &wire.TopicSet{})
	if err == nil || !strings.Contains(err.Error(), "see [vehicle.signing]") || strings.Contains(err.Error(), "secret word") {
		t.Errorf("%v", err)
	}
}

// Two files with one key are one key: whoever has it could sign as the other.
func TestOneKeyInTwoFilesIsRefused(t *testing.T) {
	dir, k := t.TempDir(), sign.NewKey()
	files := [3]string{filepath.Join(dir, "own"), filepath.Join(dir, "request"), filepath.Join(dir, "pose")}
	for i, key := range []*sign.Key{k, sign.NewKey(), k} {
		if err := sign.WriteKey(files[i], key); err != nil {
			t.Fatal(err)
		}
	}
	if err := CheckKeys(&config.Vehicle{Signing: config.Signing{KeyFile: files[0], RequestFile: files[1]}}); err != nil {
		t.Error(err)
	}
	_, err := newSigning(&config.Signing{KeyFile: files[0], RequestFile: files[1], PoseFile: files[2]}, &wire.TopicSet{})
	if err == nil || !strings.Contains(err.Error(), files[0]+" and "+files[2]+" hold the same key") {
		t.Error(err)
	}
}
