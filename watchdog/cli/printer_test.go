package cli

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"pinfold/watchdog/app"
)

// stuck is a pipe that nobody reads.
type stuck struct{ release chan struct{} }

func (s stuck) Write(b []byte) (int, error) {
	<-s.release
	return len(b), nil
}

func TestAStuckTerminalHoldsNobodyUp(t *testing.T) {
	w := stuck{make(chan struct{})}
	defer close(w.release)
	log := &lineLog{log: newLogger("text", w), print: newPrinter()}
	log.say(app.Line{Text: "once"})
	time.Sleep(50 * time.Millisecond) // until the printer is stuck in it
	begun := time.Now()
	for range 10 * printDepth {
		log.say(app.Line{Text: "again"})
	}
	log.print.close()
	if d := time.Since(begun); d > printLast+2*time.Second {
		t.Errorf("held up for %v", d)
	}
	if n := log.print.leftOut(); n < 8*printDepth {
		t.Errorf("%d lines counted as left out, want most of %d", n, 10*printDepth)
	}
}

func TestLinesLeftOutAreSaid(t *testing.T) {
	var out bytes.Buffer
	log := &lineLog{log: newLogger("text", &out), print: newPrinter()}
	log.print.left.Store(3)
	log.say(app.Line{Vehicle: "wren", Level: "stop", Text: "for a reason"})
	log.print.close()
	log.say(app.Line{Text: "too late"})
	want := "3 lines could not be printed in time and are left out; the trail has them\n    0.000 s  wren  stop  for a reason\n"
	if out.String() != want {
		t.Errorf("printed %q, want %q", out.String(), want)
	}
	if strings.Contains(out.String(), "too late") {
		t.Error("printed after the end")
	}
}

func TestFold(t *testing.T) {
	for text, want := range map[string]string{
		"":      "",
		"short": "short",
		"  not yet: the vehicle moved by 0.198 m and 0.0° (at most 0.010 m and 1.0°): let it stand still": "  not yet: the vehicle moved by 0.198 m and 0.0° (at most\n  0.010 m and 1.0°): let it stand still",
	} {
		if got := fold(text); got != want {
			t.Errorf("%q", got)
		}
	}
}
