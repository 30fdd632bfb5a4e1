package pose

import (
	"testing"
	"time"
)

// offer gives the track a sample and says whether it was taken.
func offer(track *Track, s Sample, now time.Duration) bool {
	var p Pose
	return track.Accept(&s, now, now, &p) == nil
}

// ahead is a track with 500 ms of good poses and one whose stamp leapt an hour
// ahead.
func ahead(t *testing.T) *Track {
	t.Helper()
	track := newTrack(t, plain())
	run(t, track, 10*ms, 500*ms, 1)
	accept(t, track, at(time.Hour, 0.51), 510*ms)
	return track
}

// A stamp that leapt ahead locks nobody out for longer than RestartAfter, and
// what is let in then is a restarted tracker: never trusted until Realign.
func TestOneStampAheadIsARestartAfterAWhile(t *testing.T) {
	track := ahead(t)
	from := time.Duration(0)
	for now := 520 * ms; now < 10*time.Second; now += 10 * ms {
		if taken := offer(track, at(now, now.Seconds()), now); taken && from == 0 {
			from = now
		} else if from != 0 && !taken {
			t.Fatalf("refused at %v, after it was let in at %v", now, from)
		}
		if d := track.Distrust(now); d&^(Stale|Restarted|ClockStep) != 0 || now > 700*ms && d == 0 || from > 0 && !d.Has(Restarted) {
			t.Fatalf("at %v: %v", now, d)
		}
	}
	if want := 520*ms + RestartAfter; from != want {
		t.Errorf("let in at %v, want %v", from, want)
	}
	wantDistrust(t, track, 10*time.Second-10*ms, Restarted)
	if err := track.Realign(Alignment{}); err != nil {
		t.Fatal(err)
	}
	accept(t, track, at(10*time.Second, 10), 10*time.Second)
	wantDistrust(t, track, 10*time.Second, 0)
}

// A sequence that begins anew, with stamps that go on, is the same.
func TestSequenceThatBeginsAnewIsARestartAfterAWhile(t *testing.T) {
	track := newTrack(t, plain())
	numbered := func(now time.Duration, seq uint64) Sample {
		s := at(now, 0)
		s.Seq, s.HasSeq = seq, true
		return s
	}
	accept(t, track, numbered(0, 1_000_000), 0)
	for now, seq := 10*ms, uint64(0); now < 10*ms+RestartAfter; now, seq = now+10*ms, seq+1 {
		if offer(track, numbered(now, seq), now) {
			t.Fatalf("let in at %v", now)
		}
	}
	accept(t, track, numbered(10*ms+RestartAfter, 200), 10*ms+RestartAfter)
	wantDistrust(t, track, 10*ms+RestartAfter, Restarted)
}

// What is no live tracker is never let in, for however long it comes.
func TestOldPosesThatAreNoLiveTrackerStayOut(t *testing.T) {
	for name, next := range map[string]func(now time.Duration, n int) (Sample, time.Duration){
		"one pose over and over": func(now time.Duration, n int) (Sample, time.Duration) { return at(400*ms, 0), now + 10*ms },
		"the same second in a circle": func(now time.Duration, n int) (Sample, time.Duration) {
			return at(time.Duration(n%100)*ms, 0), now + 10*ms
		},
		"a recording at double speed": func(now time.Duration, n int) (Sample, time.Duration) {
			return at(time.Duration(n)*20*ms, 0), now + 10*ms
		},
		"a recording at half speed": func(now time.Duration, n int) (Sample, time.Duration) {
			return at(time.Duration(n)*5*ms, 0), now + 10*ms
		},
		"a burst": func(now time.Duration, n int) (Sample, time.Duration) { return at(time.Duration(n)*10*ms, 0), now + ms },
		"too seldom": func(now time.Duration, n int) (Sample, time.Duration) {
			return at(time.Duration(n)*150*ms, 0), now + 150*ms
		},
		"two trackers in turns": func(now time.Duration, n int) (Sample, time.Duration) {
			return at(time.Duration(n)*10*ms-time.Duration(n%2)*200*ms+time.Second, 0), now + 10*ms
		},
	} {
		track := ahead(t)
		now := 520 * ms
		for n := range 3000 {
			var s Sample
			s, now = next(now, n)
			if offer(track, s, now) {
				t.Errorf("%s: let in at %v", name, now)
				break
			}
		}
	}
}

// As long as the true tracker speaks, old poses beside it never count.
func TestReplayBesideTheTrueTrackerStaysOut(t *testing.T) {
	track := newTrack(t, plain())
	old := time.Duration(0)
	for now := time.Hour; now < time.Hour+20*time.Second; now += 10 * ms {
		accept(t, track, at(now, 0.001*float64(now%7)), now)
		old += 10 * ms
		if offer(track, at(old, 1), now+ms) {
			t.Fatalf("a replayed pose was let in at %v", now)
		}
	}
}
