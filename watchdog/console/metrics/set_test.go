package metrics

import (
	"io"
	"math"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus/testutil/promlint"

	"pinfold/watchdog"
	"pinfold/watchdog/pose"
	"pinfold/zones"
)

// stage is a Set whose clock and trail the test moves.
type stage struct {
	*Set
	now   time.Duration
	trail Trail
}

func newStage(t *testing.T) *stage {
	t.Helper()
	s := &stage{now: 10 * time.Second, trail: Trail{OK: true, Bytes: 12, Bound: 100, Free: -1, Lost: 3}}
	s.Set = New(Session{Version: "1.2", Began: time.Unix(1700000000, 0), Now: func() time.Duration { return s.now },
		Vehicles: []string{"wren", "mole"}, Signed: []string{"pose", "permit"}, Trail: func() Trail { return s.trail }})
	return s
}

func (s *stage) get(t *testing.T, path string) (int, string) {
	t.Helper()
	w := httptest.NewRecorder()
	s.Handler().ServeHTTP(w, httptest.NewRequest(http.MethodGet, path, nil))
	b, err := io.ReadAll(w.Result().Body)
	if err != nil {
		t.Fatal(err)
	}
	return w.Code, string(b)
}

func flying() *watchdog.Snapshot {
	return &watchdog.Snapshot{Vehicle: "wren", Level: watchdog.Stop, Judged: true, PoseAge: 7 * time.Millisecond, Speed: 1.25,
		Pose:    pose.Pose{HasVelocity: true, Tilt: 0.1, Position: pose.Vec{Z: 1.5}},
		Nearest: zones.Hit{Clearance: -0.2}, Reach: watchdog.Reach{Reaction: 0.2, Along: 0.5},
		Causes: []watchdog.Cause{{Word: "zone", Name: "cage"}, {Word: "zone", Name: "cage"}, {Word: "tilt"}},
		Counts: watchdog.Counts{Samples: 400, Stops: 2}}
}

// The names and helps keep to Prometheus's conventions, by its own linter.
func TestNamesAreConventional(t *testing.T) {
	s := newStage(t)
	s.Watch(0, flying())
	s.Judged(0, time.Millisecond)
	_, text := s.get(t, "/metrics")
	problems, err := promlint.New(strings.NewReader(text)).Lint()
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range problems {
		if strings.HasPrefix(p.Metric, "pinfold_") { // the others are the library's own
			t.Errorf("%s: %s", p.Metric, p.Text)
		}
	}
}

func TestSnapshotIsTold(t *testing.T) {
	s := newStage(t)
	s.Watch(0, flying())
	s.Link(0, true)
	s.Beat(0, 9500*time.Millisecond)
	s.Judged(0, 700*time.Microsecond)
	s.Reload(false)
	s.Unsigned(1, "permit")
	_, text := s.get(t, "/metrics")
	for _, want := range []string{
		`pinfold_level{level="stop",vehicle="wren"} 1`, `pinfold_level{level="clear",vehicle="wren"} 0`,
		`pinfold_level{level="waiting",vehicle="mole"} 1`, `pinfold_permit{vehicle="wren"} 0`,
		`pinfold_cause{cause="zone",name="cage",vehicle="wren"} 1`, `pinfold_cause{cause="tilt",name="",vehicle="wren"} 1`,
		`pinfold_pose_age_seconds{vehicle="wren"} 0.007`, `pinfold_clearance_meters{vehicle="wren"} -0.2`,
		`pinfold_speed_meters_per_second{vehicle="wren"} 1.25`, `pinfold_height_meters{vehicle="wren"} 1.5`,
		`pinfold_reaction_seconds{vehicle="wren"} 0.2`, `pinfold_stops_total{vehicle="wren"} 2`,
		`pinfold_poses_judged_total{vehicle="wren"} 400`, `pinfold_link_up{vehicle="wren"} 1`, `pinfold_link_up{vehicle="mole"} 0`,
		`pinfold_loop_age_seconds{vehicle="wren"} 0.5`, `pinfold_judgement_seconds_bucket{vehicle="wren",le="0.001"} 1`,
		`pinfold_judgement_seconds_bucket{vehicle="wren",le="0.0005"} 0`, `pinfold_trail_ok 1`, `pinfold_trail_lost_total 3`,
		`pinfold_messages_unsigned_total{kind="permit",vehicle="mole"} 1`, `pinfold_messages_unsigned_total{kind="pose",vehicle="wren"} 0`,
		`pinfold_trail_bound_bytes 100`, `pinfold_reloads_total{result="refused"} 1`, `pinfold_reloads_total{result="taken"} 0`,
		`pinfold_session_start_time_seconds 1.7e+09`, `pinfold_build_info{version="1.2"} 1`, "go_gc_duration_seconds", "process_resident_memory_bytes",
	} {
		if !strings.Contains(text, want+"\n") && !(strings.Contains(text, want) && !strings.Contains(want, " ")) {
			t.Errorf("lacks %s", want)
		}
	}
	for _, not := range []string{"pinfold_trail_free_bytes", `pinfold_clearance_meters{vehicle="mole"}`, `pinfold_pose_age_seconds{vehicle="mole"}`} {
		if strings.Contains(text, not) {
			t.Errorf("tells %s, which is not known", not)
		}
	}
}

// A place that is not known is not told, whatever numbers stand in it.
func TestUnknownIsNotTold(t *testing.T) {
	for name, change := range map[string]func(s *watchdog.Snapshot){
		"void":     func(s *watchdog.Snapshot) { s.Void = true },
		"no zone":  func(s *watchdog.Snapshot) { s.Nearest.Clearance = math.Inf(-1) },
		"no place": func(s *watchdog.Snapshot) { s.Nearest.Clearance = math.NaN() },
	} {
		s := newStage(t)
		snap := flying()
		change(snap)
		s.Watch(0, snap)
		if code, text := s.get(t, "/metrics"); code != http.StatusOK || strings.Contains(text, "pinfold_clearance_meters{") {
			t.Errorf("%s: status %d, a clearance is told", name, code)
		}
	}
}

func TestHealth(t *testing.T) {
	s := newStage(t)
	want := func(path string, code int, word string) {
		t.Helper()
		if got, text := s.get(t, path); got != code || !strings.Contains(text, word) {
			t.Errorf("%s: %d %q, want %d and %q", path, got, text, code, word)
		}
	}
	want("/healthz", 503, "wren: its loop has not judged yet")
	s.Beat(0, s.now)
	s.Beat(1, s.now)
	want("/healthz", 200, "ok")
	want("/readyz", 503, "mole: no link to the broker")
	s.Link(0, true)
	s.Link(1, true)
	want("/readyz", 200, "ok")
	s.trail.OK = false
	want("/readyz", 503, "the trail cannot be written")
	want("/healthz", 200, "ok")
	s.now += aliveWithin + time.Millisecond
	s.Beat(0, s.now)
	want("/healthz", 503, "mole: its loop has not judged for")
	want("/else", 404, "")
}

func TestServeSaysWhatIsTaken(t *testing.T) {
	s := newStage(t)
	at, stop, err := s.Serve("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer stop()
	if _, _, err := s.Serve(at); err == nil || !strings.Contains(err.Error(), "cannot listen on "+at) {
		t.Errorf("a port that is taken: %v", err)
	}
	r, err := http.Get("http://" + at + "/healthz")
	if err != nil {
		t.Fatal(err)
	}
	r.Body.Close()
	if r, err := http.Post("http://"+at+"/metrics", "text/plain", nil); err != nil || r.StatusCode != http.StatusMethodNotAllowed {
		t.Errorf("a POST: %v, %v", r, err)
	}
}

// Whoever opens connections and says nothing gets no more than a few of them, since
// the guard needs files of its own.
func TestConnectionsAreBounded(t *testing.T) {
	s := newStage(t)
	at, stop, err := s.Serve("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer stop()
	answered := 0
	for range connections + 4 {
		c, err := net.Dial("tcp", at)
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		if _, err := io.WriteString(c, "GET /else HTTP/1.1\r\nHost: x\r\n\r\n"); err != nil {
			t.Fatal(err)
		}
		wait := 10 * time.Second
		if answered == connections {
			wait = 100 * time.Millisecond
		}
		_ = c.SetReadDeadline(time.Now().Add(wait))
		if n, _ := c.Read(make([]byte, 64)); n > 0 {
			answered++
		}
	}
	if answered != connections {
		t.Errorf("%d connections are served, want %d", answered, connections)
	}
}
