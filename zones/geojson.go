package zones

import (
	"fmt"
	"math"
	"strings"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// GeoJSONFault is one thing wrong with a GeoJSON text.
type GeoJSONFault struct {
	Feature int    // index into the collection's features; -1 for the text as a whole
	Name    string // the feature's name, where it could be read
	Says    string // what is wrong, with the place in the feature
	Try     string // the next step
}

// String is the fault on one line.
func (f GeoJSONFault) String() string {
	switch {
	case f.Feature < 0:
		return fmt.Sprintf("GeoJSON: %s. Try: %s", f.Says, f.Try)
	case f.Name == "":
		return fmt.Sprintf("feature %d: %s. Try: %s", f.Feature, f.Says, f.Try)
	}
	return fmt.Sprintf("feature %d (%q): %s. Try: %s", f.Feature, f.Name, f.Says, f.Try)
}

// BadGeoJSON is the error of ReadGeoJSON: all that is wrong with the text, up
// to MaxProblems.
type BadGeoJSON struct{ Faults []GeoJSONFault }

func (e *BadGeoJSON) Error() string {
	if len(e.Faults) == 1 {
		return e.Faults[0].String()
	}
	lines := make([]string, len(e.Faults))
	for i, f := range e.Faults {
		lines[i] = "  " + f.String()
	}
	return fmt.Sprintf("%d problems with the GeoJSON:\n%s", len(e.Faults), strings.Join(lines, "\n"))
}

// What of a GeoJSON object is looked at. Everything else is a foreign member
// and ignored (RFC 7946 §6.1). Raw values tell a missing member from a null.
type (
	object struct {
		Type       jsontext.Value `json:"type"`
		Features   jsontext.Value `json:"features"`
		Geometry   jsontext.Value `json:"geometry"`
		Properties jsontext.Value `json:"properties"`
		CRS        jsontext.Value `json:"crs"`
	}
	geometry struct {
		Type        jsontext.Value `json:"type"`
		Coordinates jsontext.Value `json:"coordinates"`
	}
	properties struct {
		Name     jsontext.Value `json:"name"`
		Kind     jsontext.Value `json:"kind"`
		Floor    jsontext.Value `json:"floor"`
		Ceiling  jsontext.Value `json:"ceiling"`
		Vehicles jsontext.Value `json:"vehicles"`
	}
)

// ReadGeoJSON reads zones from a FeatureCollection or a Feature of polygons or
// multi-polygons. Properties: name, kind ("keep-in" or "keep-out"), floor and
// ceiling in metres, all required; vehicles, a list of names, may be left out.
// Every polygon of a multi-polygon becomes a zone, named "name/1", "name/2"
// and so on.
//
// Coordinates are metres in the site frame, which RFC 7946 §4 allows by prior
// arrangement. A text whose coordinates look like degrees of longitude and
// latitude is refused: all within ±180 and ±90, not whole numbers, and all of
// it less than looksGeographic across, both ways. So is one with a crs member
// that says so. A third coordinate, which would be a height, is refused, since
// it would not be heeded. Rings must be closed; either winding is taken (RFC
// 7946 §3.1.6). Repeated member names are refused. The error is a *BadGeoJSON.
//
// The shapes are read, not judged: New does that.
func ReadGeoJSON(data []byte) ([]Shape, error) {
	r := geoReader{}
	r.read(data)
	if len(r.faults) == 0 {
		r.geographic()
	}
	if len(r.faults) > 0 {
		return nil, &BadGeoJSON{Faults: r.faults}
	}
	return r.shapes, nil
}

// looksGeographic is the size, in whatever unit, below which a whole site is
// taken to be in degrees: 0.05 is 5 cm, or up to 5.6 km.
const looksGeographic = 0.05

type geoReader struct {
	shapes  []Shape
	faults  []GeoJSONFault
	feature int
	name    string
}

func (r *geoReader) bad(try, format string, args ...any) {
	if len(r.faults) < MaxProblems {
		r.faults = append(r.faults, GeoJSONFault{r.feature, r.name, fmt.Sprintf(format, args...), try})
	}
}

func (r *geoReader) read(data []byte) {
	r.feature = -1
	if len(data) > MaxGeoJSON {
		r.bad("simplify or split the file", "%d bytes, at most %d are taken", len(data), MaxGeoJSON)
		return
	}
	var top object
	if err := json.Unmarshal(data, &top); err != nil {
		r.bad("mend the JSON there", "%s", inWords(data, err))
		return
	}
	if crs := string(top.CRS); strings.Contains(crs, "CRS84") || strings.Contains(crs, "4326") {
		r.bad("convert to metres in the site frame and leave crs out", "crs says longitude and latitude: %.80s", crs)
		return
	}
	switch kind := text(top.Type); kind {
	case "FeatureCollection":
		r.collection(top.Features)
	case "Feature":
		r.feature = 0
		r.one(&top)
	default:
		r.bad(`wrap the polygons in a FeatureCollection whose features have the properties name, kind, floor and ceiling`,
			"its type is %s, not FeatureCollection or Feature", show(top.Type))
	}
}

func (r *geoReader) collection(raw jsontext.Value) {
	var list []jsontext.Value
	if raw.Kind() != '[' || json.Unmarshal(raw, &list) != nil {
		r.bad("give a list of features", "features is %s, not a list", show(raw))
		return
	}
	if len(list) > MaxZones {
		r.bad("leave features out", "%d features, at most %d are taken", len(list), MaxZones)
		return
	}
	for i, raw := range list {
		r.feature, r.name = i, ""
		var f object
		if raw.Kind() != '{' || json.Unmarshal(raw, &f) != nil || text(f.Type) != "Feature" {
			r.bad(`give an object of type "Feature"`, "it is not a Feature: %s", show(raw))
			continue
		}
		r.one(&f)
	}
}

// one reads a feature.
func (r *geoReader) one(f *object) {
	s := Shape{}
	r.properties(f.Properties, &s)
	var g geometry
	if f.Geometry.Kind() != '{' || json.Unmarshal(f.Geometry, &g) != nil {
		r.bad("give it a Polygon", "geometry is %s, not an object", show(f.Geometry))
		return
	}
	polygons := r.polygons(&g)
	for i, p := range polygons {
		z := s
		if len(polygons) > 1 {
			z.Name = fmt.Sprintf("%s/%d", s.Name, i+1)
			z.Vehicles = append([]string(nil), s.Vehicles...)
		}
		z.Rings = r.rings(p)
		r.shapes = append(r.shapes, z)
	}
}

// geographic refuses a text that looks like longitudes and latitudes.
func (r *geoReader) geographic() {
	lo, hi, like := likeDegrees(r.shapes)
	if !like {
		return
	}
	r.feature, r.name = -1, ""
	r.bad("convert to metres in the site frame, with the origin at a mark on the site",
		"the coordinates look like longitude and latitude: all of them lie within %g by %g of (%g, %g)", hi.X-lo.X, hi.Y-lo.Y, lo.X, lo.Y)
}

// likeDegrees tells whether shapes look as if drawn in degrees, and their box.
func likeDegrees(shapes []Shape) (lo, hi XY, like bool) {
	lo, hi = XY{math.Inf(1), math.Inf(1)}, XY{math.Inf(-1), math.Inf(-1)}
	whole := true
	for i := range shapes {
		for _, ring := range shapes[i].Rings {
			for _, v := range ring {
				lo, hi = XY{min(lo.X, v.X), min(lo.Y, v.Y)}, XY{max(hi.X, v.X), max(hi.Y, v.Y)}
				whole = whole && v.X == math.Trunc(v.X) && v.Y == math.Trunc(v.Y)
			}
		}
	}
	return lo, hi, !whole && lo.X >= -180 && hi.X <= 180 && lo.Y >= -90 && hi.Y <= 90 && hi.X-lo.X < looksGeographic && hi.Y-lo.Y < looksGeographic
}
