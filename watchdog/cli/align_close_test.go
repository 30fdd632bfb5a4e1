package cli

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pinfold/watchdog/pose"
	"pinfold/watchdog/review"
	"pinfold/watchdog/trail"
)

// csv is what the hand did, as a recording.
func (h *hand) csv() string {
	var b strings.Builder
	b.WriteString("t_ns,x,y,z,qw,qx,qy,qz\n")
	for i := range h.out {
		s := &h.out[i]
		p, q := s.Position, s.Orientation
		fmt.Fprintf(&b, "%d,%.6f,%.6f,%.6f,%.12f,%.12f,%.12f,%.12f\n", s.Stamp, p.X, p.Y, p.Z, q.W, q.X, q.Y, q.Z)
	}
	return b.String()
}

func beginSession(t *testing.T, dir, id string) *trail.Writer {
	t.Helper()
	w, err := trail.Create(trail.Options{Dir: dir, Session: id, Vehicles: []string{"mole", "wren"}, KeyFile: filepath.Join(t.TempDir(), "key")})
	if err != nil {
		t.Fatal(err)
	}
	w.Event("wren", "level", time.Second, map[string]string{"level": "clear"})
	return w
}

func seal(t *testing.T, w *trail.Writer) trail.Sealed {
	t.Helper()
	s, err := w.Close(5 * time.Second)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// The drift is sealed in a session of its own that names the one it is about;
// that one is not touched, and the whole trail still holds.
func TestDriftGoesIntoTheTrail(t *testing.T) {
	site := writeSite(t, "", "mqtt://127.0.0.1:1", 2.8) // no broker is asked
	dir := filepath.Dir(site)
	file := filepath.Join(dir, "wren.align.json")
	h := &hand{frame: pose.YawAlignment(2.1, pose.Vec{X: 4, Y: -3}, 0), at: pose.Vec{X: 1, Y: 1, Z: 0.06}}
	h.rest(2500 * time.Millisecond)
	before := tempFile(t, dir, "before.csv", h.csv())
	h.move(pose.Vec{X: 5, Y: 3, Z: 1})
	h.move(pose.Vec{X: 1.03, Y: 1.04, Z: 0.06}) // 5 cm off by the end, by the tracker's say
	h.rest(2500 * time.Millisecond)
	after := tempFile(t, dir, "after.csv", h.csv())
	run := func(args ...string) (int, string) {
		var out bytes.Buffer
		code := Main(append([]string{"align", "--site", site, "--file", file}, args...), nil, &out, &out)
		return code, out.String()
	}
	if code, said := run("--pad", "--at", "1,1,0.06", "--heading", "0", "--from", before); code != exitFine {
		t.Fatalf("exit status %d: %s", code, said)
	}

	kept := filepath.Join(dir, "evidence")
	if code, said := run("--close", "--from", after, "--trail", kept); code != exitError || !strings.Contains(said, "no trail") {
		t.Errorf("no trail: exit status %d: %s", code, said)
	}
	w := beginSession(t, kept, "one")
	if code, said := run("--close", "--from", after, "--trail", kept); code != exitError || !strings.Contains(said, "end it, then measure again") {
		t.Errorf("a guard runs: exit status %d: %s", code, said)
	}
	session := seal(t, w)
	lines, err := os.ReadFile(filepath.Join(session.Folder, "events.jsonl"))
	if err != nil {
		t.Fatal(err)
	}

	code, said := run("--close", "--from", after, "--trail", kept)
	if code != exitFound || inOrder(said, "crept by 0.050 m", "0.00°", "declared is", "in the trail: ", "raise position_error") != "" {
		t.Errorf("exit status %d: %s", code, said)
	}
	if now, err := os.ReadFile(filepath.Join(session.Folder, "events.jsonl")); err != nil || !bytes.Equal(now, lines) {
		t.Errorf("the sealed session was written to: %v", err)
	}
	if all, err := trail.VerifyAll(kept, session.Head); err != nil || !all.OK() {
		t.Errorf("the trail does not hold: %v %+v", err, all)
	}
	checkDriftRecord(t, kept, file, &session)

	// A second measure is about the same session, not about the first measure.
	if code, said := run("--close", "--from", after, "--trail", kept); code != exitFound {
		t.Errorf("exit status %d: %s", code, said)
	}
	checkDriftRecord(t, kept, file, &session)
}

// checkDriftRecord reads the newest session back.
func checkDriftRecord(t *testing.T, dir, alignment string, about *trail.Sealed) {
	t.Helper()
	list, err := trail.List(dir)
	if err != nil || len(list) < 2 {
		t.Fatalf("%d sessions: %v", len(list), err)
	}
	newest := list[len(list)-1]
	if code, said := runMain("verify", newest.Folder); code != exitFine || !strings.Contains(said, "nothing was changed") {
		t.Errorf("verify: exit status %d: %s", code, said)
	}
	r, err := trail.Open(newest.Folder)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	var got *review.DriftRecord
	err = r.Events(func(l trail.Line) error {
		if l.Kind != review.RecDrift {
			return nil
		}
		got = &review.DriftRecord{}
		return json.Unmarshal(l.Body, got)
	})
	if err != nil || got == nil {
		t.Fatalf("no record: %v", err)
	}
	if got.Session != "one" || got.Head != about.Head || !got.Sealed || got.Vehicle != "wren" {
		t.Errorf("it is about another session: %+v", got)
	}
	if math.Abs(got.Drift.Horizontal-0.05) > 1e-3 || got.Drift.Needed < 0.05 || got.Drift.Covered || got.Drift.Lasted < 4 {
		t.Errorf("%+v", got.Drift)
	}
	want, err := os.ReadFile(alignment)
	if err != nil {
		t.Fatal(err)
	}
	if had, err := r.File(review.MeasuredAlignment); err != nil || !bytes.Equal(had, want) {
		t.Errorf("the alignment is not kept: %v", err)
	}
}

func runMain(args ...string) (int, string) {
	var out bytes.Buffer
	code := Main(args, nil, &out, &out)
	return code, out.String()
}

// --full: a tracker that does not know gravity leans by 12°; by yaw alone the
// marks do not fit, and that is said.
func TestAlignFull(t *testing.T) {
	site := writeSite(t, "", "mqtt://127.0.0.1:1", 2.8)
	dir := filepath.Dir(site)
	file := filepath.Join(dir, "wren.align.json")
	lean := 12 * math.Pi / 180
	frame := pose.Alignment{Rotation: pose.FromYaw(2.1).Mul(pose.FromEuler(lean, 0, 0)), Translation: pose.Vec{X: 4, Y: -3, Z: 0.5}}
	places := []pose.Vec{{X: 1, Y: 1, Z: 0.8}, {X: 4, Y: 1, Z: 0.8}, {X: 4, Y: 3.5, Z: 0.8}, {X: 1.4, Y: 3.2, Z: 1.9}}
	h := &hand{frame: frame, at: places[0]}
	for _, p := range places {
		h.move(p)
		h.rest(2300 * time.Millisecond)
	}
	walk := tempFile(t, dir, "walk.csv", h.csv())
	marks := tempFile(t, dir, "marks.csv", "door, 1, 1, 0.8\npost, 4, 1, 0.8\nstairs, 4, 3.5, 0.8\nbench, 1.4, 3.2, 1.9\n")
	args := []string{"align", "--marks", marks, "--site", site, "--file", file, "--from", walk}
	if code, said := runMain(args...); code != exitFound || !strings.Contains(said, "off by up to") {
		t.Errorf("by yaw: exit status %d: %s", code, said)
	}
	if _, err := os.Stat(file); err == nil {
		t.Error("a file was written for marks that do not fit")
	}
	code, said := runMain(append(args, "--full")...)
	if code != exitFine {
		t.Fatalf("exit status %d: %s", code, said)
	}
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	f, err := pose.ReadAlignment(data)
	if err != nil || f.Method != pose.MethodMarksFull || f.Alignment.KeepsGravity() || !strings.Contains(string(data), `"rotation"`) {
		t.Errorf("%v: %s", err, data)
	}
	for _, p := range []pose.Vec{{}, {X: 3, Y: 1, Z: 2}} {
		if off := f.Alignment.Point(p).Sub(frame.Point(p)).Norm(); off > 0.003 || off > f.Alignment.Residual {
			t.Errorf("off by %g m, stated %g", off, f.Alignment.Residual)
		}
	}
	// Mirrored marks in one plane fit upside down: refused with --full too.
	flat := tempFile(t, dir, "flat.csv", "door, 1, 1, 0.8\npost, 4, 1, 0.8\nstairs, 4, 3.5, 0.8\n")
	mirror := tempFile(t, dir, "mirror.csv", "door, -1, 1, 0.8\npost, -4, 1, 0.8\nstairs, -4, 3.5, 0.8\n")
	h.out = nil
	for _, p := range places[:3] {
		h.move(p)
		h.rest(2300 * time.Millisecond)
	}
	three := tempFile(t, dir, "three.csv", h.csv())
	if code, said := runMain("align", "--full", "--marks", flat, "--site", site, "--file", file, "--from", three); code != exitFine {
		t.Errorf("three marks: exit status %d: %s", code, said)
	}
	if code, said := runMain("align", "--full", "--marks", mirror, "--site", site, "--file", file, "--from", three); code != exitFound || !strings.Contains(said, "leaning") {
		t.Errorf("mirrored: exit status %d: %s", code, said)
	}
}

// Before there is any zone the tracker can be aligned all the same.
func TestAlignBeforeThereAreZones(t *testing.T) {
	dir := t.TempDir()
	text := fmt.Sprintf(openSite, "mqtt://127.0.0.1:1", 2.8)
	i, j := strings.Index(text, "[[zone]]"), strings.Index(text, "[[vehicle]]")
	site := tempFile(t, dir, "site.toml", text[:i]+text[j:])
	h := &hand{frame: pose.YawAlignment(1, pose.Vec{}, 0), at: pose.Vec{X: 1, Y: 1, Z: 0.06}}
	h.rest(2500 * time.Millisecond)
	from := tempFile(t, dir, "pad.csv", h.csv())
	args := []string{"align", "--pad", "--site", site, "--at", "1,1,0.06", "--heading", "0", "--from", from, "--file", filepath.Join(dir, "a.json")}
	code, said := runMain(args...)
	if code != exitFine || !strings.Contains(said, "no keep-in zone yet") || !strings.Contains(said, "within 5 m") {
		t.Errorf("exit status %d: %s", code, said)
	}
	code, near := runMain(append(args, "--reach", "1")...)
	if code != exitFine || strings.Contains(near, "no keep-in zone") || near == said {
		t.Errorf("exit status %d: %s", code, near)
	}
	if code, said := runMain(append(args, "--reach", "-1")...); code != exitError {
		t.Errorf("exit status %d: %s", code, said)
	}
}

// A pad takes the heading alone: a tracker that leans by 12° on it, so that the tie is
// off by metres across a hall, is not tied without a word.
func TestAlignOnAPadSaysThatItLeans(t *testing.T) {
	site := writeSite(t, "", "mqtt://127.0.0.1:1", 2.8)
	for lean, said := range map[float64]bool{0.5: false, 12: true} {
		h := &hand{frame: pose.Alignment{Rotation: pose.FromEuler(lean*math.Pi/180, 0, 0)}, at: pose.Vec{X: 1, Y: 1, Z: 0.06}}
		h.rest(2500 * time.Millisecond)
		from := tempFile(t, t.TempDir(), "pad.csv", h.csv())
		code, out := runMain("align", "--pad", "--site", site, "--at", "1,1,0.06", "--heading", "0", "--from", from, "--file", filepath.Join(t.TempDir(), "a.json"))
		out = strings.Join(strings.Fields(out), " ")
		if code != exitFine || strings.Contains(out, "seems to lean by 12.0°") != said || strings.Contains(out, "NOTE") != said {
			t.Errorf("leaning by %g°: exit status %d: %s", lean, code, out)
		}
	}
}
