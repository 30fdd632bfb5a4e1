package console

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"pinfold/watchdog"
	"pinfold/watchdog/link/wire"
)

// showSpeed shows a vehicle of a speed at an instant, and has the hub's clock see it.
func showSpeed(s *Screen, speed *float64, at time.Duration) {
	s.Show(&wire.State{Speed: speed}, &watchdog.Snapshot{At: at}, at)
	s.past.add(s.newest.Load())
}

func minuteOf(t *testing.T, s *Screen, now time.Duration) minute {
	t.Helper()
	b, err := encodePast([]*Screen{s}, now)
	var all []minute
	if err != nil || json.Unmarshal(b, &all) != nil || len(all) != 1 {
		t.Fatalf("%s, %v", b, err)
	}
	return all[0]
}

// A short peak and a short dip stand in the last minute, in the order they came,
// and what is not known is not drawn as a number.
func TestPastKeepsExtremes(t *testing.T) {
	s, even, peak, dip := &Screen{}, 0.5, 1.7, 0.1
	for i := range 100 {
		v := &even
		switch i {
		case 43:
			v = &peak
		case 44:
			v = &dip
		case 60, 61, 62, 63, 64:
			v = nil
		}
		showSpeed(s, v, time.Duration(i)*50*time.Millisecond)
	}
	m := minuteOf(t, s, 5*time.Second)
	if len(m.T) != 40 || len(m.Speed) != 40 || len(m.Clearance) != 40 {
		t.Fatalf("%d instants, %d speeds", len(m.T), len(m.Speed))
	}
	for i, v := range m.Speed {
		want := &even
		switch i {
		case 16:
			want = &peak
		case 17:
			want = &dip
		case 24, 25:
			want = nil
		}
		if (v == nil) != (want == nil) || v != nil && *v != *want {
			t.Errorf("point %d: %v, want %v", i, v, want)
		}
		if i > 0 && m.T[i] <= m.T[i-1] || m.T[i] >= 4.95 {
			t.Errorf("instant %d is %v, not before the newest frame", i, m.T[i])
		}
	}
}

// However long and however often is shown, a minute is kept; and of a vehicle that
// has been silent for longer nothing.
func TestPastIsBounded(t *testing.T) {
	s := &Screen{}
	for i := range 100_000 {
		v := float64(i)
		showSpeed(s, &v, time.Duration(i)*5*time.Millisecond)
	}
	m := minuteOf(t, s, 500*time.Second)
	if len(m.T) != 2*pastMax || m.T[0] < 439 || *m.Speed[len(m.Speed)-1] != 99_999 {
		t.Errorf("%d points from %v", len(m.T), m.T[0])
	}
	if m := minuteOf(t, s, 600*time.Second); len(m.T) != 0 {
		t.Errorf("of a vehicle that was silent for a minute: %d points", len(m.T))
	}
	if got := testing.AllocsPerRun(100, func() { s.past.add(&Shown{Snap: watchdog.Snapshot{At: time.Hour}}) }); got > 1 { // the Shown itself
		t.Errorf("adding takes %v allocations", got)
	}
}

// A page that opens after the fact gets what was shown while nobody watched, once.
func TestAPageGetsTheMinuteBeforeIt(t *testing.T) {
	t.Parallel()
	srv, _ := serving(t, nil)
	v := 0.75
	srv.Screen(0).Show(&wire.State{Speed: &v}, &watchdog.Snapshot{At: srv.opt.Now()}, srv.opt.Now())
	for end := time.Now().Add(10 * time.Second); ; time.Sleep(5 * time.Millisecond) {
		if all, _ := srv.hub.screens[0].past.take(); len(all) == 1 {
			break
		}
		if time.Now().After(end) {
			t.Fatal("what is shown while nobody watches is not kept")
		}
	}
	_, sc := stream(t, srv)
	if got := next(t, sc, "past"); !strings.Contains(got, `"speed":[0.75,0.75]`) || !strings.Contains(got, `{"t":[],`) {
		t.Errorf("the minute before: %s", got)
	}
	for frames := 0; frames < 3 && sc.Scan(); {
		switch sc.Text() {
		case "event: past":
			t.Fatal("the minute before comes twice")
		case "event: frame":
			frames++
		}
	}
}

// A panic in what is kept ends the page, and nothing else.
func TestAPanicInThePastEndsThePageAlone(t *testing.T) {
	h := newHub(Site{}, func() time.Duration { return 0 })
	h.screens = []*Screen{nil}
	said := ""
	h.run(make(chan struct{}), func(why string) { said = why })
	if !strings.Contains(said, "the console can show nothing more: ") {
		t.Errorf("said %q", said)
	}
}
