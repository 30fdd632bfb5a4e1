package app

import (
	"cmp"
	"fmt"
	"strings"
	"syscall"
	"testing"
	"time"

	"pinfold/watchdog/trail"
)

// What a person should know of the disk is said once, when it changes.
func TestTheTrailsHealthIsSaidOnce(t *testing.T) {
	var got []string
	r := &runner{now: func() time.Duration { return 0 }}
	r.opt.Say = func(l Line) { got = append(got, l.Text) }
	for _, s := range []trail.Status{
		{OK: true}, {OK: true, Warn: "little is free"}, {OK: true, Warn: "little is free"},
		{Err: "full", Warn: "little is free"}, {Err: "full", Warn: "little is free"}, {OK: true, Warn: "little is free"},
		{Err: "full"}, {OK: true}, {OK: true, Steps: 1, Stepped: -time.Hour}, {OK: true, Steps: 1, Stepped: -time.Hour},
	} {
		r.trailStatus(s)
		stepped := s.Steps > 0
		if in := *r.trailSaid.Load(); in != cmp.Or(s.Err, s.Warn) && (!stepped || !strings.Contains(in, "by -3600.000 s")) {
			t.Errorf("%+v: the state says %q", s, in)
		}
	}
	want := []string{"caution: little is free", "the trail cannot be written: full", "the trail cannot be written: full", "the trail has room again",
		"caution: the wall clock was stepped by -3600.000 s: folders and annotations bear the new time; nothing is judged by it"}
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("said %q, want %q", got, want)
	}
}

func TestAFullDiskSaysWhatToDo(t *testing.T) {
	if got := roomHint(fmt.Errorf("write x: %w", syscall.ENOSPC)); !strings.Contains(got, "--trail") {
		t.Errorf("a full disk: %q", got)
	}
	for _, err := range []error{syscall.EACCES, syscall.EROFS} {
		if got := roomHint(err); !strings.Contains(got, "a user who may write there") {
			t.Errorf("%v: %q", err, got)
		}
	}
	if got := roomHint(syscall.EIO); got != "" {
		t.Errorf("a broken disk: %q", got)
	}
}
