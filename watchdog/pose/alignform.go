package pose

import (
	"fmt"
	"math"
)

// formReader turns what the file holds into an AlignmentFile; err is the first
// thing that is wrong.
type formReader struct {
	form *fileForm
	err  error
}

func (r *formReader) bad(place, form string, a ...any) {
	if r.err == nil {
		r.err = fmt.Errorf("alignment file: %s: %s; %s", place, fmt.Sprintf(form, a...), remake)
	}
}

// number is a finite number within ±limit.
func (r *formReader) number(place string, v *float64, low, high float64) float64 {
	switch {
	case v == nil:
		r.bad(place, "is missing")
		return 0
	case !(*v >= low && *v <= high):
		r.bad(place, "%v is not within %g to %g", *v, low, high)
		return 0
	}
	return *v
}

func (r *formReader) text(place string, v *string, most int) string {
	switch {
	case v == nil || *v == "":
		r.bad(place, "is missing")
		return ""
	case len(*v) > most:
		r.bad(place, "has %d bytes, more than %d", len(*v), most)
		return ""
	}
	return *v
}

func (r *formReader) read() (f AlignmentFile) {
	m := r.form
	switch {
	case m.Format == nil || *m.Format != alignmentFormat && *m.Format != alignmentNoSite:
		r.bad("/alignment", "must be %d or %d, the version of the format", alignmentNoSite, alignmentFormat)
	case *m.Format == alignmentFormat:
		f.Site = r.text("/site", m.Site, MaxSiteName)
	case m.Site != nil:
		r.bad("/site", "does not belong to version %d of the format", alignmentNoSite)
	}
	f.Vehicle = r.text("/vehicle", m.Vehicle, MaxTrackerID)
	f.Method = r.text("/method", m.Method, MaxTrackerID)
	if f.Method != MethodPad && f.Method != MethodMarks && f.Method != MethodMarksFull {
		r.bad("/method", "%q is none of %s, %s, %s", f.Method, MethodPad, MethodMarks, MethodMarksFull)
	}
	switch {
	case m.Made == nil || m.Made.IsZero():
		r.bad("/made", "is missing")
	default:
		f.Made = *m.Made
	}
	if m.Epoch != nil {
		if y := m.Epoch.Year(); y < 1800 || y > 2200 {
			r.bad("/epoch", "the year %d is not one a tracker's clock can begin in", y)
		}
		f.Epoch = *m.Epoch
	}
	if m.Samples == nil || *m.Samples < 1 {
		r.bad("/samples", "must be how many samples it was made from")
	} else {
		f.Samples = *m.Samples
	}
	r.alignment(&f.Alignment)
	if r.err == nil && !f.Epoch.IsZero() {
		f.Alignment.Epoch = f.Epoch.UnixNano()
	}
	f.Alignment.Unbound = f.Alignment.Tracker == "" && f.Epoch.IsZero()
	r.pad(&f)
	r.marks(&f)
	return f
}

func (r *formReader) alignment(a *Alignment) {
	m := r.form
	if m.Tracker != nil {
		a.Tracker = r.text("/tracker", m.Tracker, MaxTrackerID)
	}
	if m.Since == nil || *m.Since < 0 {
		r.bad("/since_ns", "must be a stamp of the tracker in ns, not below zero")
	} else {
		a.Since = *m.Since
	}
	switch {
	case (m.Yaw == nil) == (m.Rotation == nil):
		r.bad("/yaw", "needs either yaw or rotation, and not both")
	case m.Yaw != nil:
		a.Rotation = FromYaw(r.number("/yaw", m.Yaw, -360, 360) * math.Pi / 180)
	default:
		q := m.Rotation
		a.Rotation = Quat{r.number("/rotation/w", q.W, -1.01, 1.01), r.number("/rotation/x", q.X, -1.01, 1.01),
			r.number("/rotation/y", q.Y, -1.01, 1.01), r.number("/rotation/z", q.Z, -1.01, 1.01)}
	}
	if t := m.Translation; t != nil {
		a.Translation = Vec{r.number("/translation/x", t.X, -MaxCoordinate, MaxCoordinate),
			r.number("/translation/y", t.Y, -MaxCoordinate, MaxCoordinate), r.number("/translation/z", t.Z, -MaxCoordinate, MaxCoordinate)}
	} else {
		r.bad("/translation", "is missing")
	}
	a.Residual = r.number("/residual", m.Residual, 0, MaxResidual)
	if r.err != nil {
		return
	}
	if a.Rotation == (Quat{}) {
		r.bad("/rotation", "is no rotation at all")
		return
	}
	checked, err := a.checked()
	if err != nil {
		r.bad("/rotation", "%v", err)
		return
	}
	*a = checked
}

func (r *formReader) pad(f *AlignmentFile) {
	p := r.form.Pad
	switch {
	case p == nil && f.Method == MethodPad:
		r.bad("/pad", "is missing")
	case p != nil:
		f.Pad = &PadSpot{Position: Vec{r.number("/pad/x", p.X, -MaxCoordinate, MaxCoordinate),
			r.number("/pad/y", p.Y, -MaxCoordinate, MaxCoordinate), r.number("/pad/z", p.Z, -MaxCoordinate, MaxCoordinate)},
			Yaw: r.number("/pad/yaw", p.Yaw, -360, 360) * math.Pi / 180}
	}
}

func (r *formReader) marks(f *AlignmentFile) {
	list := r.form.Marks
	if n := len(list); n > MaxMarks || f.Method != MethodPad && n < MinMarks {
		r.bad("/marks", "%d marks where %d to %d are due", n, MinMarks, MaxMarks)
		return
	}
	for i, m := range list {
		f.Marks = append(f.Marks, MarkLeft{r.text(fmt.Sprintf("/marks/%d/name", i), m.Name, MaxTrackerID),
			r.number(fmt.Sprintf("/marks/%d/residual", i), m.Residual, 0, MaxCoordinate)})
	}
}
