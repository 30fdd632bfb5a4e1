package pose

import (
	"strings"
	"testing"
	"time"
)

// The tracker tells no id and counts its stamps anew: an alignment made since it
// did fits, also one made before that was certain, and none from before.
func TestAlignmentsAfterStampsThatBeginAnew(t *testing.T) {
	track := newTrack(t, plain())
	for now := time.Duration(0); now <= 2*time.Second; now += 10 * ms {
		accept(t, track, at(now+time.Minute, 1), now)
	}
	now := 2500 * ms
	for stamp := 100 * ms; !track.Distrust(now).Has(Restarted); stamp += 10 * ms {
		if now > 6*time.Second {
			t.Fatal("the restart is not noticed")
		}
		now += 10 * ms
		offer(track, at(stamp, 1), now)
	}
	for since, fits := range map[time.Duration]bool{61 * time.Second: false, 100 * ms: true, 500 * ms: true, 50 * ms: false} {
		if why := track.Unfit(&Alignment{Since: int64(since)}); (why == "") != fits || !fits && !strings.Contains(why, "restarted") {
			t.Errorf("since %v: %q", since, why)
		}
	}
}

// A guard that begins in the middle of a session with an alignment from before
// the tracker restarted: by stamps alone it would fit.
func TestAlignmentOfAnotherEpoch(t *testing.T) {
	wall := time.Date(2031, 5, 6, 7, 8, 9, 0, time.UTC)
	c := plain()
	c.WallZero = wall.UnixNano()
	for what, try := range map[string]struct {
		id, bound string
		began     time.Duration // of the tracker, before the guard's instant zero
		want      Distrust
	}{
		"the same session":            {began: 500 * time.Second},
		"a slow network":              {began: 500*time.Second - 1500*ms},
		"restarted since":             {began: 400 * time.Second, want: Restarted},
		"restarted, bound by id":      {id: "b", bound: "a", began: 500 * time.Second, want: Restarted},
		"the same id, another clock":  {id: "a", bound: "a", began: 400 * time.Second, want: Restarted}, // as a serial number
		"an id where there was none":  {id: "a", began: 500 * time.Second, want: Restarted},
		"no id where there was one":   {bound: "a", began: 500 * time.Second, want: Restarted},
		"a clock 200 ppm off is fine": {began: 500*time.Second + 2050*ms},
	} {
		c := c
		c.Align = Alignment{Tracker: try.bound, Since: int64(100 * time.Second), Epoch: wall.Add(-500 * time.Second).UnixNano()}
		track := newTrack(t, c)
		accept(t, track, withID(at(try.began, 1), try.id), 0)
		wantDistrust(t, track, 0, try.want)
		if got := track.Unfit(&c.Align) != ""; got != (try.want != 0) {
			t.Errorf("%s: unfit says %q", what, track.Unfit(&c.Align))
		}
		if try.want == 0 {
			// Once in use, a backlog does not void it: that is Late, and passes.
			accept(t, track, withID(at(try.began+10*ms, 1), try.id), 5*time.Second)
			if d := track.Distrust(5 * time.Second); d.Has(Restarted) {
				t.Errorf("%s: a backlog voids the alignment: %v", what, d)
			}
		}
	}
	c.WallZero = 0
	c.Align = Alignment{Since: int64(100 * time.Second), Epoch: 1}
	track := newTrack(t, c)
	accept(t, track, at(500*time.Second, 1), 0)
	wantDistrust(t, track, 0, 0) // no wall clock, no epoch
}

// Stamps of a wall clock go on through a restart: the return to the origin shows
// it, and only an alignment made after that is of the new session.
func TestOldAlignmentAfterAReturnToTheOrigin(t *testing.T) {
	c := plain()
	c.RestartRadius = 0.1
	track := newTrack(t, c)
	accept(t, track, at(1000*time.Second, 2), 0)
	accept(t, track, at(1002*time.Second, 0), 2*time.Second)
	if d := track.Distrust(2 * time.Second); !d.Has(Restarted) {
		t.Fatalf("%v, want the restart", d)
	}
	for since, fits := range map[time.Duration]bool{900 * time.Second: false, 1001 * time.Second: false, 1002 * time.Second: true} {
		if why := track.Unfit(&Alignment{Since: int64(since)}); (why == "") != fits {
			t.Errorf("since %v: %q", since, why)
		}
	}
	if err := track.Realign(Alignment{Since: int64(1002 * time.Second)}); err != nil {
		t.Fatal(err)
	}
	wantDistrust(t, track, 2*time.Second, Restarted)
	accept(t, track, at(1003*time.Second, 2), 3*time.Second)
	wantDistrust(t, track, 3*time.Second, 0)
}

func TestUnaligned(t *testing.T) {
	c := plain()
	c.Align = Unaligned()
	track := newTrack(t, c)
	if why := track.Unfit(&Alignment{}); why != "" {
		t.Errorf("nothing seen, and yet %q", why)
	}
	accept(t, track, at(time.Hour, 1), 0)
	wantDistrust(t, track, 0, Restarted)
	if a := Unaligned(); !a.Void() || track.Unfit(&a) == "" {
		t.Error("no alignment fits")
	}
}

// A tracker that told its id once and then no more is told by its id no more:
// the return to the origin has to show it, as of one that never told any, and
// so have stamps that begin anew. The alignment after that is of a session
// without an id.
func TestRestartOfATrackerThatStoppedTellingItsID(t *testing.T) {
	for what, bound := range map[string]string{"bound by its first id": "", "bound by the file": "a"} {
		c := plain()
		c.RestartRadius = 0.1
		c.Align.Tracker = bound
		track := newTrack(t, c)
		accept(t, track, withID(at(1000*time.Second, 2), "a"), 0)
		accept(t, track, at(1000*time.Second+10*ms, 2), 10*ms)
		wantDistrust(t, track, 10*ms, 0)
		accept(t, track, at(1002*time.Second, 0), 2*time.Second)
		if d := track.Distrust(2 * time.Second); !d.Has(Restarted) {
			t.Fatalf("%s: %v, want the restart", what, d)
		}
		checkRenewed(t, what, track, 1002*time.Second, 2*time.Second)
	}
	track := newTrack(t, plain())
	accept(t, track, withID(at(1000*time.Second, 2), "a"), 0)
	now := time.Duration(0)
	for stamp := time.Second; !track.Distrust(now).Has(Restarted); stamp += 10 * ms {
		if now += 10 * ms; now > 5*time.Second {
			t.Fatal("stamps that begin anew: the restart is not noticed")
		}
		offer(track, at(stamp, 1), now)
	}
	checkRenewed(t, "stamps that begin anew", track, time.Second, now)
}

// checkRenewed checks that an alignment of a session without an id, begun at
// since, ends the restart, and that neither an older one nor one by the id does.
func checkRenewed(t *testing.T, what string, track *Track, since, now time.Duration) {
	t.Helper()
	for _, a := range []Alignment{{Tracker: "a", Since: int64(since)}, {Since: int64(since - 3*time.Second + 10*ms)}} {
		if a.Since > 0 && track.Unfit(&a) == "" {
			t.Errorf("%s: %+v fits", what, a)
		}
	}
	a := Alignment{Since: int64(since)}
	if why := track.Unfit(&a); why != "" {
		t.Fatalf("%s: it cannot be aligned again: %s", what, why)
	}
	if err := track.Realign(a); err != nil {
		t.Fatal(err)
	}
	accept(t, track, at(since+10*time.Second, 2), now+time.Second)
	wantDistrust(t, track, now+time.Second, 0)
}

// An alignment that another follows in the same session is no second restart.
func TestRealignTwiceAfterOneRestart(t *testing.T) {
	c := plain()
	c.Align.Tracker = "a"
	track := newTrack(t, c)
	accept(t, track, withID(at(time.Second, 1), "b"), 0)
	wantDistrust(t, track, 0, Restarted)
	for i, want := range []Distrust{Restarted, NoPose} {
		if err := track.Realign(Alignment{Tracker: "b", Since: int64(i + 1)}); err != nil {
			t.Fatal(err)
		}
		wantDistrust(t, track, 0, want)
		now := time.Duration(i+1) * 10 * ms
		accept(t, track, withID(at(time.Second+now, 1), "b"), now)
		wantDistrust(t, track, now, 0)
	}
}

// A recording without an id and without a wall clock tells of no session: what is
// measured from it ties the recording, and no tracker that is live.
func TestAlignmentFromARecordingTiesNoLiveTracker(t *testing.T) {
	for _, since := range []int64{0, int64(time.Second)} { // published recordings begin at zero
		data, err := WriteAlignment(&AlignmentFile{Vehicle: "wren", Method: MethodPad, Pad: &PadSpot{}, Made: time.Unix(1, 0),
			Samples: 9, Alignment: Alignment{Since: since}})
		if err != nil {
			t.Fatal(err)
		}
		f, err := ReadAlignment(data)
		if err != nil {
			t.Fatal(err)
		}
		for _, live := range []bool{false, true} {
			for _, id := range []string{"", "cam"} {
				c, want := plain(), Distrust(0)
				if c.Align = f.Alignment; live {
					c.WallZero, want = time.Date(2031, 5, 6, 7, 8, 9, 0, time.UTC).UnixNano(), Restarted
				} else if id != "" && since > 0 {
					want = Restarted // it told none
				}
				track := newTrack(t, c)
				accept(t, track, withID(at(time.Minute, 1), id), 0)
				wantDistrust(t, track, 0, want)
				if why := track.Unfit(&f.Alignment); (why == "") != (want == 0) {
					t.Errorf("live %v, id %q, since %d: unfit says %q", live, id, since, why)
				}
			}
		}
	}
}

// A backlog that grew is not forgotten by an alignment in the same session: what
// comes after it is as late as what came before. Another session begins anew.
func TestRealignKeepsABacklog(t *testing.T) {
	wall := time.Date(2031, 5, 6, 7, 8, 9, 0, time.UTC).UnixNano()
	for what, try := range map[string]struct {
		id, next string
		back     time.Duration // the next one's stamp is that much earlier
		want     Distrust
	}{
		"the same id":            {id: "a", next: "a", want: Late},
		"no id, the same epoch":  {want: Late},
		"stamps that begin anew": {id: "a", next: "a", back: 3 * time.Second},
		"another id":             {id: "a", next: "b", back: 3 * time.Second},
	} {
		c := plain()
		c.MaxLate, c.WallZero = 100*ms, wall
		c.Align = Alignment{Tracker: try.id, Since: 1, Epoch: wall - int64(time.Minute)}
		track := newTrack(t, c)
		now, stamp := time.Duration(0), time.Minute
		for range 100 {
			accept(t, track, withID(at(stamp, 1), try.id), now)
			now, stamp = now+20*ms, stamp+15*ms
		}
		wantDistrust(t, track, now, Late)
		a := c.Align
		a.Tracker, a.Since = try.next, 2
		if try.back > 0 { // it was made in the new session
			a.Epoch = wall + int64(now-stamp+try.back)
		}
		if err := track.Realign(a); err != nil {
			t.Fatal(err)
		}
		accept(t, track, withID(at(stamp-try.back, 1), try.next), now)
		if got := track.Distrust(now); got != try.want {
			t.Errorf("%s: %v, want %v", what, got, try.want)
		}
		if age, _ := track.Age(now); (age > 300*ms) != (try.want == Late) {
			t.Errorf("%s: %v old", what, age)
		}
	}
}

// An id may be a serial number that outlasts a restart: stamps that go on and a
// pose at the origin after a silence show it nevertheless.
func TestRestartBehindTheSameID(t *testing.T) {
	for _, away := range []float64{3, 0.4} { // m from the origin before it; the second is too near to tell
		c := plain()
		c.RestartRadius = 0.3
		c.Align = Alignment{Tracker: "SN1", Since: 1}
		track := newTrack(t, c)
		for i := range 40 {
			s := withID(at(time.Minute+time.Duration(i)*5*ms, 1), "SN1")
			s.Position = Vec{X: away}
			accept(t, track, s, time.Duration(i)*5*ms)
		}
		wantDistrust(t, track, 195*ms, 0)
		s := withID(at(time.Minute+4*time.Second, 1), "SN1")
		s.Position = Vec{X: 0.05}
		accept(t, track, s, 4*time.Second)
		if got := track.Distrust(4 * time.Second); got.Has(Restarted) != (away > 1) {
			t.Errorf("from %v m away: %v", away, got)
		}
	}
}
