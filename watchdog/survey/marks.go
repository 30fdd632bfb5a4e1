package survey

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"pinfold/watchdog/pose"
)

// Point is one surveyed mark.
type Point struct {
	Name string
	At   pose.Vec // m, site frame: the body's centre when it stands there
}

// ReadMarks reads surveyed marks: lines of "name, x, y, z" in metres in the
// site frame, of which the first may be that header; empty lines and lines that
// begin with # are passed over. file stands for the text in errors.
func ReadMarks(file, text string) ([]Point, error) {
	var out []Point
	for n, line := range strings.Split(text, "\n") {
		line = strings.TrimSpace(line)
		if line == "" || line[0] == '#' {
			continue
		}
		bad := func(form string, a ...any) error {
			return fmt.Errorf("%s:%d: %s; write it like: door, 3.20, 0.05, 0.06", file, n+1, fmt.Sprintf(form, a...))
		}
		cells := strings.Split(line, ",")
		for i := range cells {
			cells[i] = strings.TrimSpace(cells[i])
		}
		if len(out) == 0 && strings.Join(cells, ",") == "name,x,y,z" {
			continue
		}
		if len(cells) != 4 || cells[0] == "" {
			return nil, bad("%.60q is not a name and three numbers", line)
		}
		p, err := readPoint(cells)
		if err != nil {
			return nil, bad("%v", err)
		}
		for _, o := range out {
			if o.Name == p.Name {
				return nil, bad("mark %q stands twice", p.Name)
			}
		}
		if out = append(out, p); len(out) > pose.MaxMarks {
			return nil, bad("more than %d marks", pose.MaxMarks)
		}
	}
	if len(out) < pose.MinMarks {
		return nil, fmt.Errorf("%s: %d marks: needs %d at least, not on one line; survey more", file, len(out), pose.MinMarks)
	}
	return out, nil
}

func readPoint(cells []string) (p Point, err error) {
	if p.Name = cells[0]; len(p.Name) > pose.MaxTrackerID {
		return p, fmt.Errorf("the name has %d bytes, more than %d", len(p.Name), pose.MaxTrackerID)
	}
	for i, v := range []*float64{&p.At.X, &p.At.Y, &p.At.Z} {
		*v, err = strconv.ParseFloat(cells[i+1], 64)
		if err != nil || !(math.Abs(*v) <= pose.MaxCoordinate) {
			return p, fmt.Errorf("%.40q is not a length in metres", cells[i+1])
		}
	}
	return p, nil
}

// minLift is how far, m, the body has to be from the last mark before the next
// one is taken: a mark is not taken twice for a body that stays.
const minLift = 0.15

// Marks takes the marks one after the other, each as soon as the body stands
// still on it.
type Marks struct {
	points []Point
	dwell  *Dwell
	taken  []pose.Still
}

// NewMarks takes points in their order, by the axes and mounting of c.
func NewMarks(points []Point, c pose.Config, o pose.StillOptions) *Marks {
	c.Align = pose.Alignment{}
	return &Marks{points: points, dwell: NewDwell(c, o)}
}

// Taken is how many marks are taken.
func (m *Marks) Taken() int { return len(m.taken) }

// Done says whether every mark is taken.
func (m *Marks) Done() bool { return len(m.taken) == len(m.points) }

// Next is the mark to go to.
func (m *Marks) Next() Point { return m.points[len(m.taken)] }

// Add takes one sample; took says that it completed a mark. A tracker that
// restarts between two marks is an error: the marks then are of two frames.
func (m *Marks) Add(s *pose.Sample) (took bool, why, err error) {
	n := len(m.taken)
	if n > 0 && s.Tracker != m.taken[0].Tracker {
		return false, nil, fmt.Errorf("the tracker restarted meanwhile (%q, then %q): begin again at the first mark", m.taken[0].Tracker, s.Tracker)
	}
	if n > 0 && s.Stamp < m.taken[n-1].To {
		return false, nil, fmt.Errorf("the tracker's stamps ran back to %d ns: has it restarted? Begin again at the first mark", s.Stamp)
	}
	st, found, why := m.dwell.Add(s)
	if !found {
		return false, why, nil
	}
	if n > 0 && st.Position.Sub(m.taken[n-1].Position).Norm() < minLift {
		return false, nil, nil // still on the last one
	}
	m.taken = append(m.taken, st)
	m.dwell.Reset()
	return true, nil, nil
}

// Fit ties the frames by the marks taken. On an error that names a mark the
// fit is given as far as it came.
func (m *Marks) Fit(o pose.MarkOptions) (pose.MarkFit, error) {
	var list []pose.Mark
	for i, st := range m.taken {
		list = append(list, pose.Mark{Name: m.points[i].Name, Tracker: st.Position, Site: m.points[i].At})
	}
	fit, err := pose.AlignMarks(list, o)
	if err != nil {
		return fit, err
	}
	for _, st := range m.taken { // what the body wandered while it stood
		fit.Alignment.Residual = math.Max(fit.Alignment.Residual, st.Move)
	}
	fit.Alignment.Tracker, fit.Alignment.Since = m.taken[0].Tracker, m.taken[0].From
	return fit, nil
}
