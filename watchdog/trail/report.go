package trail

import (
	"errors"
	"fmt"
	"time"
)

// Err is the report's problems as one error, nil where there are none.
func (r *Report) Err() error {
	if r.OK() {
		return nil
	}
	errs := make([]error, 0, len(r.Problems)+1)
	for _, p := range r.Problems {
		errs = append(errs, errors.New(p.String()))
	}
	if more := r.Count - len(r.Problems); more > 0 {
		errs = append(errs, fmt.Errorf("and %d more", more))
	}
	if r.Lines == 0 {
		errs = append(errs, errors.New("no line could be read"))
	}
	return errors.Join(errs...)
}

// TornOnly says that the one problem is a last line that is half there, as a kill
// or a power cut leaves it.
func (r *Report) TornOnly() bool { return r.Torn && !r.Sealed && r.Count == 1 }

// DemandKey makes it a problem where another key than public, in hex, is named
// as the one that seals. An unsealed session only names its key.
func (r *Report) DemandKey(public string) {
	if r.Public == public {
		return
	}
	r.Count++
	r.Sealed = false
	r.Problems = append(r.Problems, Problem{File: eventsName, Line: 1, Frame: -1,
		What: fmt.Sprintf("is sealed, or to be sealed, by key %.64s, and not by the demanded %s: another guard wrote it, its key file was made anew, or all of it was written anew", r.Public, public)})
}

// String says where, what and since when.
func (p Problem) String() string {
	where := p.File
	if p.Frame >= 0 {
		where += fmt.Sprintf(" frame %d", p.Frame)
	}
	if p.Line > 0 {
		where += fmt.Sprintf(" line %d", p.Line)
	}
	if !p.Wall.IsZero() {
		return fmt.Sprintf("%s: %s (in doubt since %v, %s)", where, p.What, p.Since, p.Wall.Format(time.RFC3339))
	}
	return fmt.Sprintf("%s: %s", where, p.What)
}
