package app

import (
	"strings"
	"testing"

	"pinfold/watchdog"
)

// A name that reached a record with control characters in it, however it did,
// is written out on one line.
func TestALineIsOneLineAndPrintable(t *testing.T) {
	var got []Line
	o := Options{Say: func(l Line) { got = append(got, l) }}
	r := watchdog.Record{Kind: watchdog.RecRequest, Body: watchdog.RequestHeard{Ask: "stop",
		By: "x\x1b[2J\r\n   1.000 s  wren  clear  all is well", Outcome: "effective"}}
	l, ok := lineOf(&r, watchdog.Stop)
	if !ok {
		t.Fatal("an effective stop is not said")
	}
	l.Vehicle = "wr\aen"
	o.tell(l)
	o.tell(Line{Text: strings.Repeat("é", 2*MaxLine)})
	if len(got) != 2 || strings.ContainsAny(got[0].Text+got[0].Vehicle, "\x1b\r\n\a") || !strings.Contains(got[0].Text, `\u001b[2J\u000d\u000a`) {
		t.Fatalf("told %q", got)
	}
	if n := len(got[1].Text); n > MaxLine+60 || !strings.HasSuffix(got[1].Text, "(the trail has the rest)") {
		t.Errorf("a line of %d bytes", n)
	}
	(&Options{}).tell(l) // nobody reads
}

func TestWhatBecameOfARequestIsSaidAsItIs(t *testing.T) {
	for _, c := range []struct {
		ask, outcome string
		level        watchdog.Level
		want         string
	}{
		{"stop", "effective", watchdog.Stop, "stop asked by desk: effective"},
		{"stop", "effective", watchdog.Land, "stop asked by desk: noted; a land is latched already, and goes on"},
		{"land", "effective", watchdog.Land, "land asked by desk: effective"},
		{"land", "effective", watchdog.Stop, "land asked by desk: effective, as a stop: this vehicle cannot land"},
		{"reset", "refused", watchdog.Land, "reset asked by desk: refused"},
	} {
		l, ok := lineOf(&watchdog.Record{Kind: watchdog.RecRequest, Body: watchdog.RequestHeard{Ask: c.ask, By: "desk", Outcome: c.outcome}}, c.level)
		if !ok || l.Text != c.want {
			t.Errorf("%+v: %q", c, l.Text)
		}
	}
}
