package cli

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"pinfold/watchdog/survey"
	"pinfold/zones"
)

// neverSince is the stamp config gives an alignment file that it cannot read.
const neverSince = math.MaxInt64

// target is where a traced zone goes, and what it is.
type target struct {
	file   string
	names  int  // zone files that the site file names
	named  bool // the site file names it
	svg    string
	redraw bool        // the picture may replace a file that trace did not draw
	shape  zones.Shape // without its outline
}

// choose finds the file and the zone's properties; others are the zones that
// the site has already.
func (t *target) choose(c *traceCmd, files []string, others []zones.Shape) error {
	t.file, t.redraw = c.Out, c.Redraw
	if t.file == "" && len(files) > 0 {
		t.file = files[0]
	}
	if t.file == "" {
		t.file = filepath.Join(filepath.Dir(c.Site), fileName(c.Name)+".geojson")
	}
	t.names = len(files)
	for _, f := range files {
		t.named = t.named || filepath.Clean(f) == filepath.Clean(t.file)
	}
	if t.svg = c.SVG; t.svg == "" {
		t.svg = filepath.Join(filepath.Dir(t.file), fileName(c.Name)+".svg")
	}
	if err := t.mayDraw(); err != nil {
		return err
	}
	t.shape = zones.Shape{Name: c.Name, Vehicles: c.For}
	here, err := t.existing(c.Replace)
	if err != nil {
		return err
	}
	for i := range others {
		if !here && others[i].Name == c.Name {
			return fmt.Errorf("the site has a zone %q already, elsewhere than in %s; choose another name, or take it out there", c.Name, t.file)
		}
	}
	return t.settle(c)
}

// existing looks at the file as it is: here says that it has a zone of that
// name, whose properties are kept where it may be replaced.
func (t *target) existing(replace bool) (here bool, err error) {
	text, err := os.ReadFile(t.file)
	if errors.Is(err, fs.ErrNotExist) {
		if _, err = os.Stat(filepath.Dir(t.file)); err != nil {
			err = fmt.Errorf("%w; give --out a file in a folder that is there", err)
		}
		return false, err
	}
	if err != nil {
		return false, err
	}
	if len(bytes.TrimSpace(text)) == 0 {
		return false, nil
	}
	s, err := survey.Standing(text, t.shape.Name)
	switch {
	case errors.Is(err, survey.ErrLoses):
		return true, fmt.Errorf("%s: %w", t.file, err)
	case err != nil:
		return false, fmt.Errorf("%s, which is to get the zone: %w", t.file, err)
	case s == nil:
		return false, nil
	case !replace:
		return true, fmt.Errorf("%s has a zone %q already; choose another name, or say --replace", t.file, s.Name)
	}
	t.shape.Kind, t.shape.Floor, t.shape.Ceiling = s.Kind, s.Floor, s.Ceiling
	if len(t.shape.Vehicles) == 0 {
		t.shape.Vehicles = s.Vehicles
	}
	return true, nil
}

// settle takes the properties from the flags, and has zones check them.
func (t *target) settle(c *traceCmd) error {
	switch {
	case c.Kind == zones.KeepIn.String():
		t.shape.Kind = zones.KeepIn
	case c.Kind == zones.KeepOut.String():
		t.shape.Kind = zones.KeepOut
	case c.Kind != "":
		return fmt.Errorf("--kind %q: must be keep-in or keep-out", c.Kind)
	case t.shape.Kind == 0:
		return errors.New("what is it? Give --kind keep-in (the vehicle stays inside) or --kind keep-out")
	}
	if c.Floor.Given {
		t.shape.Floor = c.Floor.Value
	}
	if c.Ceiling.Given {
		t.shape.Ceiling = c.Ceiling.Value
	} else if t.shape.Ceiling == 0 && t.shape.Floor == 0 {
		return errors.New("how high is it? Give --ceiling in metres (and --floor, where it is not 0)")
	}
	probe := t.shape
	probe.Rings = [][]zones.XY{{{}, {X: 1}, {X: 1, Y: 1}}}
	_, err := zones.New([]zones.Shape{probe})
	return err
}

// write puts the zone into the file, in one step, and keeps what was there.
func (t *target) write(s zones.Shape, replace bool) (old string, err error) {
	text, err := os.ReadFile(t.file)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return "", err
	}
	out, err := survey.PutZone(text, s, replace)
	if err != nil {
		return "", fmt.Errorf("%s: %w", t.file, err)
	}
	if len(text) > 0 {
		if old, err = keepOld(t.file, text); err != nil {
			return "", fmt.Errorf("what %s holds cannot be kept, so nothing was written: %w", t.file, err)
		}
	}
	return old, replaceFile(t.file, out)
}

// mostOld bounds the files that keep what a zone file was before.
const mostOld = 99

// keepOld writes what file holds under the first name beside it that is free:
// FILE.old, then FILE.old2 and so on.
func keepOld(file string, text []byte) (old string, err error) {
	for n := 1; n <= mostOld; n++ {
		if old = file + ".old"; n > 1 {
			old += strconv.Itoa(n)
		}
		if _, err := os.Lstat(old); errors.Is(err, fs.ErrNotExist) {
			return old, replaceFile(old, text)
		}
	}
	return "", fmt.Errorf("%s.old to %s are all there; take some away", file, filepath.Base(old))
}

// fileName is a zone's name as a file may be called.
func fileName(name string) string {
	safe := strings.Map(func(r rune) rune {
		if r < 0x80 && !strings.ContainsRune("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_", r) {
			return '_'
		}
		return r
	}, name)
	return strings.TrimPrefix(safe, "-")
}
