package review

import (
	"encoding/json"
	"testing"
	"time"

	"pinfold/watchdog"
	"pinfold/watchdog/trail"
)

// lines makes the lines of a trail as its reader would give them.
func lines(t *testing.T, s *summary, all ...watchdog.Record) {
	t.Helper()
	for i, r := range all {
		body, err := json.Marshal(r.Body)
		if err != nil {
			t.Fatal(err)
		}
		l := trail.Line{Seq: uint64(i + 1), At: r.At, Vehicle: "wren", Kind: string(r.Kind), Body: body}
		if err := s.line(l); err != nil {
			t.Fatal(err)
		}
	}
}

func newSummary() *summary {
	return &summary{levels: map[string]string{}, rows: map[string]int{}, led: map[string]int{}, called: map[string]time.Duration{}}
}

func ms(n int) time.Duration { return time.Duration(n) * time.Millisecond }

func crossing(kind watchdog.RecordKind, at, from int) watchdog.Record {
	return watchdog.Record{Kind: kind, At: ms(at), Body: watchdog.Episode{Cause: "zone", Name: "cage",
		From: ms(from), To: ms(at), Worst: 0.02, Unit: "m"}}
}

func commanded(at int, c watchdog.Cause) watchdog.Record {
	return watchdog.Record{Kind: watchdog.RecCommand, At: ms(at), Body: watchdog.CommandSent{ID: "s-1", Action: "stop", Cause: c}}
}

func stopped(at int, c watchdog.Cause) watchdog.Record {
	return watchdog.Record{Kind: watchdog.RecStopped, At: ms(at), Body: watchdog.Stopped{Action: "stop", Cause: c, Rest: 0.2, Edge: 0.3}}
}

// An edge crossed three times on the way to rest: the first crossing led to the
// stop, so the answer is its own.
func TestAnswerHangsOnTheEpisodeThatLedToTheStop(t *testing.T) {
	cage := watchdog.Cause{Word: "zone", Name: "cage"}
	s := newSummary()
	lines(t, s,
		crossing(watchdog.RecOpen, 100, 100), commanded(100, cage), crossing(watchdog.RecEpisode, 120, 100),
		crossing(watchdog.RecOpen, 130, 130), crossing(watchdog.RecEpisode, 140, 130),
		crossing(watchdog.RecOpen, 150, 150), crossing(watchdog.RecEpisode, 160, 150),
		stopped(400, cage))
	if len(s.out.Rows) != 3 {
		t.Fatalf("%d rows, want 3", len(s.out.Rows))
	}
	for i, want := range []bool{true, false, false} {
		if got := s.out.Rows[i].Answer != nil; got != want {
			t.Errorf("row %d from %.2f s: answered %v, want %v", i, s.out.Rows[i].From, got, want)
		}
	}
}

func TestAnswersOfTwoStopsDoNotMix(t *testing.T) {
	cage, desk := watchdog.Cause{Word: "zone", Name: "cage"}, watchdog.Cause{Word: "operator", Name: "desk"}
	s := newSummary()
	lines(t, s,
		crossing(watchdog.RecOpen, 100, 100), crossing(watchdog.RecEpisode, 110, 100), // while waiting: no command
		commanded(300, desk), stopped(500, desk),
		crossing(watchdog.RecOpen, 700, 700), crossing(watchdog.RecEpisode, 700, 700), // confirmed and over in one step
		commanded(700, cage), stopped(900, cage),
		commanded(950, cage), stopped(990, cage)) // with no episode of its own any more
	rows := s.out.Rows
	if len(rows) != 4 {
		t.Fatalf("%d rows, want 4: %+v", len(rows), rows)
	}
	if rows[0].Answer != nil {
		t.Error("the episode while waiting was given an answer")
	}
	if rows[1].Cause != "operator" || rows[1].Answer == nil || rows[1].From != 0.3 {
		t.Errorf("the operator's stop has no row of its own from the call on: %+v", rows[1])
	}
	if rows[2].From != 0.7 || rows[2].Answer == nil {
		t.Errorf("the stop at 0.7 s is not answered on its episode: %+v", rows[2])
	}
	if rows[3].Answer == nil || rows[3].Cause != "zone" {
		t.Errorf("a stop without an episode got no row: %+v", rows[3])
	}
}
