package cli

import (
	"fmt"
	"io"
	"os"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/mattn/go-isatty"

	"pinfold/config"
	"pinfold/sim"
	"pinfold/watchdog"
	"pinfold/watchdog/app"
)

// columns is the width of terminal that is always enough, but for paths.
const columns = 60

// show is the demo's picture: on a terminal one calm line a vehicle, drawn in
// place below what has happened; elsewhere plain lines of what happens, and
// nothing drawn twice.
type show struct {
	out   io.Writer
	quiet bool
	live  bool // redraw in place
	color bool
	width int
	print *printer

	// Only touched by what the printer does.
	now   []watchdog.Snapshot
	drawn bool
	last  time.Time
}

func newShow(out io.Writer, quiet bool, site *config.Site) *show {
	s := &show{out: out, quiet: quiet, now: make([]watchdog.Snapshot, len(site.Vehicles)), width: columns, print: newPrinter()}
	for i := range site.Vehicles {
		s.now[i].Vehicle = site.Vehicles[i].Name
	}
	if f, ok := out.(*os.File); ok && isatty.IsTerminal(f.Fd()) && os.Getenv("TERM") != "dumb" {
		s.live = true
		s.color = os.Getenv("NO_COLOR") == ""
	}
	return s
}

func (s *show) intro(site *config.Site) {
	if s.quiet {
		return
	}
	fmt.Fprintf(s.out, "Pinfold demo: %s\n%s\n\n", site.Name, Safety)
}

// say takes a line of the guard.
func (s *show) say(l app.Line) {
	text := l.Text
	if l.Level != "" {
		text = s.paint(l.Level, l.Level) + ": " + text
	}
	s.line(l.Vehicle, "  "+text)
}

// story takes a line of the story.
func (s *show) story(l sim.StoryLine) { s.line(l.Vehicle, l.Text) }

// line prints what happened above the picture.
func (s *show) line(vehicle, text string) {
	if s.quiet {
		return
	}
	if vehicle != "" {
		text = fmt.Sprintf("%-5s %s", vehicle, text)
	}
	s.print.post(func() {
		s.erase()
		for _, l := range wrap(text, s.width, "        ") {
			fmt.Fprintln(s.out, l)
		}
		s.draw()
	})
}

// watch takes a snapshot from a vehicle's loop.
func (s *show) watch(i int, snap *watchdog.Snapshot) {
	if s.quiet || !s.live {
		return
	}
	n := *snap
	s.print.post(func() {
		s.now[i] = n
		if time.Since(s.last) < demoPatience {
			return
		}
		s.erase()
		s.draw()
	})
}

// end takes the picture away.
func (s *show) end() {
	s.print.post(s.erase)
	s.print.close()
}

func (s *show) erase() {
	if s.drawn {
		fmt.Fprintf(s.out, "\x1b[%dA\x1b[J", len(s.now))
		s.drawn = false
	}
}

func (s *show) draw() {
	if !s.live {
		return
	}
	for i := range s.now {
		fmt.Fprintln(s.out, s.vehicleLine(&s.now[i]))
	}
	s.drawn, s.last = true, time.Now()
}

// vehicleLine is level, clearance, speed and cause, in at most width columns.
func (s *show) vehicleLine(n *watchdog.Snapshot) string {
	level := fmt.Sprintf("%-7s", n.Level)
	text := fmt.Sprintf("%-5s %s", n.Vehicle, level)
	if n.Judged {
		text += fmt.Sprintf(" room %5.2f m", n.Nearest.Clearance)
		if n.Pose.HasVelocity {
			text += fmt.Sprintf(" %4.2f m/s", n.Speed)
		}
	}
	if c := causeOf(n); c != "" {
		text += " " + c
	}
	if utf8.RuneCountInString(text) > s.width {
		text = string([]rune(text)[:s.width])
	}
	return strings.Replace(text, level, s.paint(n.Level.String(), level), 1)
}

// causeOf is the word of what holds now, or of what is latched.
func causeOf(n *watchdog.Snapshot) string {
	for _, list := range [][]watchdog.Cause{n.Causes, n.Latched, n.Near} {
		if len(list) > 0 && n.Level != watchdog.Waiting {
			c := &list[0]
			if c.Name != "" && c.Name != c.Word {
				return c.Word + " " + c.Name
			}
			return c.Word
		}
	}
	return ""
}

// paint gives a level its weight on a terminal. The word says it all without.
func (s *show) paint(level, text string) string {
	if !s.color {
		return text
	}
	code := map[string]string{"waiting": "2", "clear": "36", "caution": "1;33", "stop": "1;35", "land": "1;35"}[level]
	if code == "" {
		return text
	}
	return "\x1b[" + code + "m" + text + "\x1b[0m"
}

// wrap breaks text at spaces so that no line is longer than width; later lines
// begin with indent.
func wrap(text string, width int, indent string) (lines []string) {
	line := ""
	for i, word := range strings.Split(text, " ") {
		switch {
		case i == 0:
			line = word
		case visible(line)+1+visible(word) > width:
			lines = append(lines, line)
			line = indent + word
		default:
			line += " " + word
		}
	}
	return append(lines, line)
}

// visible counts the columns of text, leaving out what only paints.
func visible(text string) int {
	n, in := 0, false
	for _, r := range text {
		switch {
		case r == '\x1b':
			in = true
		case in:
			in = r != 'm'
		default:
			n++
		}
	}
	return n
}
