package cli

import (
	"bytes"
	"encoding/json"
	"errors"
	"log/slog"
	"maps"
	"strings"
	"testing"
	"time"

	"github.com/coreos/go-systemd/v22/journal"

	"pinfold/watchdog/app"
)

var aStop = app.Line{At: 12345600 * time.Microsecond, Weight: app.Alarm, Vehicle: "wren", Level: "stop", Text: "would have crossed cage by 0.21 m"}

// TestLinesAsJSON holds that each line is one object with its parts by name.
func TestLinesAsJSON(t *testing.T) {
	var out bytes.Buffer
	log := &lineLog{log: newLogger("json", &out), print: newPrinter()}
	log.note(app.Caution, "caution: of the site")
	log.say(aStop)
	log.print.close()
	lines := strings.Split(strings.TrimSpace(out.String()), "\n")
	if len(lines) != 2 {
		t.Fatalf("%d lines: %q", len(lines), lines)
	}
	for i, want := range []map[string]any{
		{"level": "NOTICE", "msg": "caution: of the site"},
		{"level": "WARN", "msg": aStop.Text, "at": 12.346, "vehicle": "wren", "verdict": "stop"},
	} {
		got := map[string]any{}
		if err := json.Unmarshal([]byte(lines[i]), &got); err != nil {
			t.Fatal(err)
		}
		if _, err := time.Parse(time.RFC3339, got["time"].(string)); err != nil {
			t.Error(err)
		}
		delete(got, "time")
		if !maps.Equal(got, want) {
			t.Errorf("line %d: %v, want %v", i, got, want)
		}
	}
}

// TestLinesInTheJournal holds which fields a line has there, and that none is lost
// where the journal's socket takes none.
func TestLinesInTheJournal(t *testing.T) {
	type sent struct {
		text   string
		p      journal.Priority
		fields map[string]string
	}
	var got []sent
	var refuse error
	var stream bytes.Buffer
	log := slog.New(&journalHandler{stream: &stream, send: func(text string, p journal.Priority, fields map[string]string) error {
		got = append(got, sent{text, p, fields})
		return refuse
	}})
	logLine(log, aStop)
	want := map[string]string{"PINFOLD_AT": "12.346", "PINFOLD_VEHICLE": "wren", "PINFOLD_VERDICT": "stop"}
	const text = "   12.346 s  wren  stop  would have crossed cage by 0.21 m"
	if len(got) != 1 || got[0].text != text || got[0].p != journal.PriWarning || !maps.Equal(got[0].fields, want) {
		t.Errorf("sent %+v", got)
	}
	if stream.Len() > 0 {
		t.Errorf("the stream has %q too", stream.String())
	}
	refuse = errors.New("no socket")
	logLine(log, aStop)
	if stream.String() != "<4>"+text+"\n" {
		t.Errorf("the stream has %q", stream.String())
	}
}

// TestARunSaidAsJSON holds that nothing else is among the lines of a guard that says
// them as JSON: neither the words that come first nor why it could not run.
func TestARunSaidAsJSON(t *testing.T) {
	var out, errs bytes.Buffer
	site := writeSite(t, "", "mqtt://127.0.0.1:1", 2.8)
	code := Main([]string{"run", "--log", "json", "--site", site, "--trail", site + "/below"}, strings.NewReader(""), &out, &errs)
	if code != exitError || out.Len() > 0 {
		t.Errorf("exit status %d, %q", code, out.String())
	}
	var last struct{ Level, Msg string }
	var all strings.Builder
	for line := range strings.Lines(errs.String()) {
		if err := json.Unmarshal([]byte(line), &last); err != nil {
			t.Errorf("%q: %v", line, err)
		}
		all.WriteString(last.Msg + "\n")
	}
	if last.Level != "ERROR" || !strings.Contains(last.Msg, "name a folder elsewhere") {
		t.Errorf("the last line is %+v", last)
	}
	for _, word := range []string{"hardware emergency stop", "Local rules: "} {
		if !strings.Contains(all.String(), word) {
			t.Errorf("nothing says %q: %s", word, all.String())
		}
	}
}
