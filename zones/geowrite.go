package zones

import (
	"fmt"
	"math"
	"slices"
	"unicode/utf8"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"github.com/paulmach/orb"
)

// WriteGeoJSON writes shapes as a FeatureCollection of one Polygon each, as RFC
// 7946 has it: rings closed, the outer one counter-clockwise, holes clockwise;
// but in metres in the site frame (§4, prior arrangement). ReadGeoJSON reads it
// back to the same zones. Shapes of which it would not are an error: a number is not finite, a ring is too short, the kind is
// none, a vehicle has no name, a name is not UTF-8, there are more than MaxZones
// or MaxGeoJSON, or the whole site is so small that it would pass for degrees.
func WriteGeoJSON(shapes []Shape) ([]byte, error) {
	out := collection{Type: "FeatureCollection", Features: []feature{}}
	if len(shapes) > MaxZones {
		return nil, fmt.Errorf("%d zones, at most %d are read back: write fewer", len(shapes), MaxZones)
	}
	for i := range shapes {
		f, err := featureOf(&shapes[i])
		if err != nil {
			return nil, fmt.Errorf("zone %q (number %d): %w", shapes[i].Name, i+1, err)
		}
		out.Features = append(out.Features, f)
	}
	if lo, hi, like := likeDegrees(shapes); like {
		return nil, fmt.Errorf("all zones lie within %g by %g m of (%g, %g), which is read back as longitude and latitude: draw them in metres, at least %g m across",
			hi.X-lo.X, hi.Y-lo.Y, lo.X, lo.Y, looksGeographic)
	}
	text, err := json.Marshal(out, jsontext.WithIndent(" "))
	if err != nil {
		return nil, err
	}
	if len(text) >= MaxGeoJSON {
		return nil, fmt.Errorf("%d bytes, at most %d are read back: simplify the outlines", len(text)+1, MaxGeoJSON)
	}
	return append(text, '\n'), nil
}

// WriteFeature writes one shape as a Feature on one line, to stand in a
// collection of others: so it may be small where WriteGeoJSON, which takes what
// it writes for the whole site, asks whether it is in degrees.
func WriteFeature(s Shape) ([]byte, error) {
	f, err := featureOf(&s)
	if err != nil {
		return nil, fmt.Errorf("zone %q: %w", s.Name, err)
	}
	return json.Marshal(f)
}

// collection, feature and outline are RFC 7946's objects (§3.3, §3.2, §3.1.6). orb's
// package of them is not used: it brings a database's driver along, 0.75 MB of
// the program (docs/board.md).
type (
	collection struct {
		Type     string    `json:"type"`
		Features []feature `json:"features"`
	}
	feature struct {
		Type       string  `json:"type"`
		Geometry   outline `json:"geometry"`
		Properties props   `json:"properties"`
	}
	outline struct {
		Type        string      `json:"type"`
		Coordinates orb.Polygon `json:"coordinates"`
	}
)

// featureOf is a shape as it is written, if it can be.
func featureOf(s *Shape) (feature, error) {
	if err := writable(s); err != nil {
		return feature{}, err
	}
	return feature{"Feature", outline{"Polygon", closedRings(s.Rings)},
		props{s.Name, s.Kind.String(), s.Floor, s.Ceiling, s.Vehicles}}, nil
}

// props are the properties of a feature as they are written.
type props struct {
	Name     string   `json:"name"`
	Kind     string   `json:"kind"`
	Floor    float64  `json:"floor"`
	Ceiling  float64  `json:"ceiling"`
	Vehicles []string `json:"vehicles,omitempty"`
}

func writable(s *Shape) error {
	if s.Kind != KeepIn && s.Kind != KeepOut {
		return fmt.Errorf("it is neither keep-in nor keep-out: set its kind")
	}
	for _, name := range append([]string{s.Name}, s.Vehicles...) {
		if !utf8.ValidString(name) { // would be written as another name
			return fmt.Errorf("the name %q is not UTF-8: spell it anew", name)
		}
	}
	for i, name := range s.Vehicles {
		if name == "" {
			return fmt.Errorf("vehicle number %d has no name: give it one, or leave it out", i+1)
		}
	}
	numbers := []float64{s.Floor, s.Ceiling}
	for k, r := range s.Rings {
		if n := len(open(r)); n < 3 {
			return fmt.Errorf("ring %d has %d corners, without the one that closes it: give it at least three", k, n)
		}
		for _, v := range r {
			numbers = append(numbers, v.X, v.Y)
		}
	}
	if len(s.Rings) == 0 {
		return fmt.Errorf("it has no outline: give it a ring")
	}
	for _, v := range numbers {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("%g is not a length: give metres", v)
		}
	}
	return nil
}

// closedRings closes the rings and winds them as RFC 7946 §3.1.6 asks. orb's
// own Orientation rounds; the turn is taken from the exact one.
func closedRings(rings [][]XY) orb.Polygon {
	out := make(orb.Polygon, len(rings))
	for k, r := range rings {
		r = open(r)
		for _, v := range r {
			out[k] = append(out[k], orb.Point{v.X, v.Y})
		}
		if (turning(r) > 0) == (k > 0) {
			slices.Reverse(out[k][1:]) // the first corner stays the first
		}
		out[k] = append(out[k], out[k][0])
	}
	return out
}
