package cli

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"math"
	"os"
	"strconv"
	"strings"

	"github.com/coreos/go-systemd/v22/journal"

	"pinfold/watchdog/app"
)

// Severities of lines, as log/slog numbers them: notice lies between its info and
// its warning, as in syslog(3).
const levelNotice = slog.LevelInfo + 2

// severity is the weight of a line.
func severity(w app.Weight) slog.Level {
	switch w {
	case app.Failure:
		return slog.LevelError
	case app.Alarm:
		return slog.LevelWarn
	case app.Caution:
		return levelNotice
	}
	return slog.LevelInfo
}

// priority is a severity as syslog(3) numbers it.
func priority(l slog.Level) journal.Priority {
	switch {
	case l >= slog.LevelError:
		return journal.PriErr
	case l >= slog.LevelWarn:
		return journal.PriWarning
	case l >= levelNotice:
		return journal.PriNotice
	}
	return journal.PriInfo
}

// Names of what a line carries beside its text.
const (
	attrAt      = "at" // s, session instant
	attrVehicle = "vehicle"
	attrLevel   = "verdict" // the level now: "level" is taken by the severity
)

// newLogger is what the guard says its lines by: into the journal with their parts
// as fields, as JSON lines, or as plain text.
func newLogger(form string, w io.Writer) *slog.Logger {
	switch {
	case form == "json":
		return slog.New(slog.NewJSONHandler(w, &slog.HandlerOptions{ReplaceAttr: nameSeverity}))
	case isJournal(w, os.Getenv("JOURNAL_STREAM")):
		return slog.New(&journalHandler{send: journal.Send, stream: w})
	}
	return slog.New(&plainHandler{w: w})
}

// nameSeverity writes notice as a word.
func nameSeverity(_ []string, a slog.Attr) slog.Attr {
	if a.Key == slog.LevelKey && a.Value.Any() == levelNotice {
		a.Value = slog.StringValue("NOTICE")
	}
	return a
}

// logLine says one line of the guard's.
func logLine(log *slog.Logger, l app.Line) {
	attrs := []slog.Attr{slog.Float64(attrAt, math.Round(l.At.Seconds()*1e3)/1e3)}
	for _, a := range [...][2]string{{attrVehicle, l.Vehicle}, {attrLevel, l.Level}} {
		if a[1] != "" {
			attrs = append(attrs, slog.String(a[0], a[1]))
		}
	}
	log.LogAttrs(context.Background(), severity(l.Weight), l.Text, attrs...)
}

// plain is a record as a person reads it:
// "   12.345 s  wren  stop  would have crossed ...". What belongs to no session has
// its text alone.
func plain(r *slog.Record) string {
	var at, vehicle, level string
	r.Attrs(func(a slog.Attr) bool {
		switch a.Key {
		case attrAt:
			at = fmt.Sprintf("%9.3f s", a.Value.Float64())
		case attrVehicle:
			vehicle = a.Value.String()
		case attrLevel:
			level = a.Value.String()
		}
		return true
	})
	var parts []string
	for _, p := range []string{at, vehicle, level, r.Message} {
		if p != "" {
			parts = append(parts, p)
		}
	}
	return strings.Join(parts, "  ")
}

// plainHandler writes lines of text. It carries no attributes of a logger's own,
// nor groups: nobody here makes any.
type plainHandler struct{ w io.Writer }

func (h *plainHandler) Enabled(context.Context, slog.Level) bool { return true }
func (h *plainHandler) WithAttrs([]slog.Attr) slog.Handler       { return h }
func (h *plainHandler) WithGroup(string) slog.Handler            { return h }

func (h *plainHandler) Handle(_ context.Context, r slog.Record) error {
	_, err := fmt.Fprintln(h.w, plain(&r))
	return err
}

// journalHandler hands lines to systemd's journal with their parts as fields
// (PINFOLD_VEHICLE=wren and so on), so that journalctl finds them by these. Where
// its socket takes none they go to the stream that the journal reads, each with its
// priority in front.
type journalHandler struct {
	plainHandler
	send   func(message string, p journal.Priority, fields map[string]string) error
	stream io.Writer
}

func (h *journalHandler) WithAttrs([]slog.Attr) slog.Handler { return h }
func (h *journalHandler) WithGroup(string) slog.Handler      { return h }

func (h *journalHandler) Handle(_ context.Context, r slog.Record) error {
	fields := make(map[string]string)
	r.Attrs(func(a slog.Attr) bool {
		v := a.Value.String()
		if a.Value.Kind() == slog.KindFloat64 {
			v = strconv.FormatFloat(a.Value.Float64(), 'f', 3, 64)
		}
		fields["PINFOLD_"+strings.ToUpper(a.Key)] = v
		return true
	})
	text, p := plain(&r), priority(r.Level)
	if err := h.send(text, p, fields); err != nil {
		_, err = fmt.Fprintln(&prioritized{h.stream, int(p)}, text)
		return err
	}
	return nil
}

// lineLog says what a person should read, a line each. It is called from several
// loops and does not hold them up: what cannot be said soon enough is left out and
// counted.
type lineLog struct {
	log   *slog.Logger
	print *printer
}

func (l *lineLog) say(line app.Line) {
	l.print.post(func() {
		if n := l.print.leftOut(); n > 0 {
			l.note(app.Caution, fmt.Sprintf("%d lines could not be printed in time and are left out; the trail has them", n))
		}
		logLine(l.log, line)
	})
}

// note says what belongs to no instant of a session.
func (l *lineLog) note(w app.Weight, text string) {
	l.log.LogAttrs(context.Background(), severity(w), text)
}
