package cli

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"time"

	"pinfold/config"
	"pinfold/watchdog/pose"
	"pinfold/watchdog/survey"
	"pinfold/zones"
)

// alignFile is the alignment file that the site file names for v; where it
// names none, one beside it.
func alignFile(site *config.Site, v *config.Vehicle) string {
	if v.AlignFile != "" {
		return v.AlignFile
	}
	return filepath.Join(filepath.Dir(site.Path), v.Name+".align.json")
}

// prepare reads what can be wrong before anybody has the vehicle in hand.
func (a *aligner) prepare() error {
	c := a.cmd
	if !(c.Reach >= 0 && c.Reach <= 1000) {
		return fmt.Errorf("--reach %g: must be 0 to 1000 m", c.Reach)
	}
	if err := c.errors(); err != nil {
		return err
	}
	if c.Hold < 500*time.Millisecond || c.Hold > 10*time.Second {
		return fmt.Errorf("--hold %v: must be 0.5 s to 10 s", c.Hold)
	}
	if c.At.Given || c.Heading.Given {
		if !c.At.Given || !c.Heading.Given {
			return errors.New("where is the pad? Give both --at X,Y,Z and --heading DEG")
		}
		a.spot = &pose.PadSpot{Position: pose.Vec{X: c.At.X, Y: c.At.Y, Z: c.At.Z}, Yaw: c.Heading.Value * math.Pi / 180}
	}
	switch {
	case c.Marks != "":
		text, err := os.ReadFile(c.Marks)
		if err != nil {
			return err
		}
		a.points, err = survey.ReadMarks(c.Marks, string(text))
		return err
	case c.Close:
		data, err := os.ReadFile(c.File)
		if err != nil {
			return fmt.Errorf("%w; give the alignment the session ran with by --file", err)
		}
		a.text = data
		if a.file, err = pose.ReadAlignment(data); err != nil {
			return fmt.Errorf("%s: %w", c.File, err)
		}
		if err := a.mine(); err != nil {
			return err
		}
		if a.spot == nil {
			a.spot = a.file.Pad
		}
	}
	if a.spot == nil {
		return errors.New("where is the pad? Give both --at X,Y,Z and --heading DEG")
	}
	return nil
}

// errors refuses what the flags say an alignment may be off by, where it is no
// length or angle.
func (c *alignCmd) errors() error {
	for _, f := range []struct {
		flag, unit string
		value, top float64
	}{
		{"--place-error", "m", c.PlaceError, pose.MaxResidual}, {"--heading-error", "degrees", c.HeadingError, 180},
		{"--level-error", "degrees", c.LevelError, 20}, {"--tolerance", "m", c.Tolerance, pose.MaxResidual},
	} {
		if !(f.value >= 0 && f.value <= f.top) {
			return fmt.Errorf("%s %g: must be 0 to %g %s", f.flag, f.value, f.top, f.unit)
		}
	}
	if c.Tolerance == 0 {
		return errors.New("--tolerance 0: no mark fits that well; give what the survey is good to, in metres")
	}
	return nil
}

// mine refuses the alignment of another site or vehicle.
func (a *aligner) mine() error {
	switch f := &a.file; {
	case f.Vehicle != a.v.Name:
		return fmt.Errorf("%s is the alignment of %q; give --vehicle %s, or another --file", a.cmd.File, f.Vehicle, f.Vehicle)
	case f.Site != "" && f.Site != a.site.Name:
		return fmt.Errorf("%s is the alignment of another site, %q; give that one by --site, or another --file", a.cmd.File, f.Site)
	}
	return nil
}

// named says so where the guard will not find the file, since the site file
// names another, or none.
func (a *aligner) named() {
	switch {
	case a.v.AlignFile == "":
		a.prompt("The site file names no alignment of %s yet: put\n[vehicle.pose.align]\nfile = %q\ninto it, or the guard does not read this one.", a.v.Name, fromSite(a.site.Path, a.cmd.File))
	case absolute(a.v.AlignFile) != absolute(a.cmd.File):
		a.prompt("The site file names %s: when it starts,\nthe guard reads that one.", a.v.AlignFile)
	}
}

// fromSite is a path as a site file names it.
func fromSite(site, path string) string {
	if rel, err := filepath.Rel(filepath.Dir(absolute(site)), absolute(path)); err == nil && filepath.IsLocal(rel) {
		return rel
	}
	return absolute(path)
}

// absolute is path, if that can be told, from the root.
func absolute(path string) string {
	if abs, err := filepath.Abs(path); err == nil {
		return abs
	}
	return path
}

// For a room that has no zones yet: the reach, m, of an alignment and its rise.
const (
	noZones     = 5.0
	noZonesRise = 3.0
)

// far is how far the vehicle's pen goes from p: on the level and, above or
// below, in height, m.
func (a *aligner) far(p pose.Vec) (reach, rise float64) {
	for i := range a.v.Shapes {
		s := &a.v.Shapes[i]
		if s.Kind != zones.KeepIn {
			continue
		}
		for _, c := range s.Rings[0] {
			reach = max(reach, math.Hypot(c.X-p.X, c.Y-p.Y))
		}
		rise = max(rise, math.Abs(s.Ceiling-p.Z), math.Abs(s.Floor-p.Z))
	}
	given := a.cmd.Reach > 0
	if reach == 0 {
		reach, rise = noZones, noZonesRise
		if !given {
			a.prompt("There is no keep-in zone yet: what is stated holds\nwithin %g m; --reach says otherwise.", noZones)
		}
	}
	if given {
		reach = a.cmd.Reach
	}
	return reach, rise
}

// reach is how far the vehicle's pen goes from p on the level, m.
func (a *aligner) reach(p pose.Vec) float64 {
	reach, _ := a.far(p)
	return reach
}

// middle is the mean of the marks, m, site frame.
func middle(points []survey.Point) (m pose.Vec) {
	for _, p := range points {
		m = m.Add(p.At.Scale(1 / float64(len(points))))
	}
	return m
}
