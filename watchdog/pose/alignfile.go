package pose

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// Bounds of an alignment file.
const (
	MaxAlignmentFile = 64 << 10 // bytes
	MaxResidual      = 10       // m: an alignment worse than this ties nothing
	MaxSiteName      = 2000     // bytes
	// alignmentFormat is the version this program writes: it names the site. The
	// one before, which does not, is read as well.
	alignmentFormat = 2
	alignmentNoSite = 1
	remake          = "make the file again with pinfold align"
)

// Methods of an alignment.
const (
	MethodPad       = "pad"        // the vehicle stood on its pad
	MethodMarks     = "marks"      // surveyed marks, gravity kept
	MethodMarksFull = "marks-full" // surveyed marks, any rotation
)

// AlignmentFile is an alignment as it is kept, with how and when it was made.
type AlignmentFile struct {
	Site      string // its name; empty in a file of the first format
	Vehicle   string
	Alignment Alignment
	Method    string    // one of the Methods
	Made      time.Time // wall clock of who made it
	// Epoch is the wall clock at which the tracker's stamp was zero, to within
	// the transit of a message; the zero time where it is not known, as from a
	// recording. A tracker that tells no id and counts its stamps from its
	// start has another one after a restart.
	Epoch   time.Time // ReadAlignment puts it into Alignment too
	Samples int       // that it was made from
	Pad     *PadSpot  // where the pad is; nil where none was used
	Marks   []MarkLeft
}

// PadSpot is where a vehicle stands on its pad.
type PadSpot struct {
	Position Vec     // m, site frame: the body's centre
	Yaw      float64 // rad, site frame
}

// MarkLeft is how far one mark is off after the fit.
type MarkLeft struct {
	Name     string
	Residual float64 // m
}

// What the file holds. Angles are in degrees, for people; lengths in metres.
type (
	fileXYZ struct {
		X *float64 `json:"x"`
		Y *float64 `json:"y"`
		Z *float64 `json:"z"`
	}
	filePad struct {
		X   *float64 `json:"x"`
		Y   *float64 `json:"y"`
		Z   *float64 `json:"z"`
		Yaw *float64 `json:"yaw"`
	}
	fileQuat struct {
		W *float64 `json:"w"`
		X *float64 `json:"x"`
		Y *float64 `json:"y"`
		Z *float64 `json:"z"`
	}
	fileMark struct {
		Name     *string  `json:"name"`
		Residual *float64 `json:"residual"`
	}
	fileForm struct {
		Format      *int       `json:"alignment"`
		Site        *string    `json:"site,omitempty"`
		Vehicle     *string    `json:"vehicle"`
		Method      *string    `json:"method"`
		Made        *time.Time `json:"made"`
		Tracker     *string    `json:"tracker,omitempty"`
		Since       *int64     `json:"since_ns"`
		Epoch       *time.Time `json:"epoch,omitempty"`
		Yaw         *float64   `json:"yaw,omitempty"`
		Rotation    *fileQuat  `json:"rotation,omitempty"`
		Translation *fileXYZ   `json:"translation"`
		Residual    *float64   `json:"residual"`
		Samples     *int       `json:"samples"`
		Pad         *filePad   `json:"pad,omitempty"`
		Marks       []fileMark `json:"marks,omitempty"`
	}
)

// WriteAlignment writes f as the JSON text that ReadAlignment reads; without a
// site's name in the first format.
func WriteAlignment(f *AlignmentFile) ([]byte, error) {
	a, err := f.Alignment.checked()
	if err != nil {
		return nil, err
	}
	format := alignmentFormat
	t := a.Translation
	out := fileForm{Format: &format, Vehicle: &f.Vehicle, Method: &f.Method, Made: &f.Made, Since: &a.Since,
		Translation: &fileXYZ{&t.X, &t.Y, &t.Z}, Residual: &a.Residual, Samples: &f.Samples}
	if out.Site = &f.Site; f.Site == "" {
		format, out.Site = alignmentNoSite, nil
	}
	if a.Tracker != "" {
		out.Tracker = &a.Tracker
	}
	if !f.Epoch.IsZero() {
		out.Epoch = &f.Epoch
	}
	if a.KeepsGravity() {
		yaw := a.Rotation.Yaw() * 180 / math.Pi
		out.Yaw = &yaw
	} else {
		q := a.Rotation
		out.Rotation = &fileQuat{&q.W, &q.X, &q.Y, &q.Z}
	}
	if p := f.Pad; p != nil {
		yaw := p.Yaw * 180 / math.Pi
		out.Pad = &filePad{&p.Position.X, &p.Position.Y, &p.Position.Z, &yaw}
	}
	for i := range f.Marks {
		out.Marks = append(out.Marks, fileMark{&f.Marks[i].Name, &f.Marks[i].Residual})
	}
	data, err := json.Marshal(out, jsontext.WithIndent("  "))
	if err != nil {
		return nil, fmt.Errorf("alignment file: %w", err)
	}
	data = append(data, '\n')
	if _, err := ReadAlignment(data); err != nil {
		return nil, err // what cannot be read again is not written
	}
	return data, nil
}

// ReadAlignment reads an alignment file strictly: nothing may be missing,
// unknown, twice there, or out of range. Its errors name the place, the value
// and the next step.
func ReadAlignment(data []byte) (AlignmentFile, error) {
	var none AlignmentFile
	if len(data) > MaxAlignmentFile {
		return none, fmt.Errorf("alignment file: %d bytes, more than %d: is it one? Else %s", len(data), MaxAlignmentFile, remake)
	}
	var form fileForm
	if err := json.Unmarshal(data, &form, json.RejectUnknownMembers(true)); err != nil {
		return none, fmt.Errorf("alignment file: %s; %s", whyJSON(data, err), remake)
	}
	r := formReader{form: &form}
	f := r.read()
	if r.err != nil {
		return none, r.err
	}
	return f, nil
}

// whyJSON is an error of the JSON reader with its line.
func whyJSON(data []byte, err error) string {
	at := int64(0)
	what := err.Error()
	var syntax *jsontext.SyntacticError
	var meaning *json.SemanticError
	switch {
	case errors.As(err, &syntax):
		at, what = syntax.ByteOffset, fmt.Sprintf("not valid JSON: %v", syntax.Err)
	case errors.As(err, &meaning):
		at = meaning.ByteOffset
		place := string(meaning.JSONPointer)
		if place == "" {
			place = "the file as a whole"
		}
		what = fmt.Sprintf("%s: %s is not a value that may stand there", place, clip(meaning.JSONValue))
		if errors.Is(meaning.Err, json.ErrUnknownName) {
			what = fmt.Sprintf("%s is unknown", meaning.JSONPointer)
		}
	}
	line := 1 + bytes.Count(data[:min(max(at, 0), int64(len(data)))], []byte("\n"))
	return fmt.Sprintf("line %d: %s", line, what)
}

func clip(v []byte) string {
	const most = 40
	if len(v) == 0 {
		return "what is written"
	}
	return fmt.Sprintf("%.*q", most, v)
}
