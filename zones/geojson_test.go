package zones

import (
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"
)

// oneFeature is a collection of one feature with the given properties and
// geometry.
func oneFeature(props, geom string) string {
	return fmt.Sprintf(`{"type":"FeatureCollection","features":[{"type":"Feature","properties":%s,"geometry":%s}]}`, props, geom)
}

const (
	hallProps = `{"name":"hall","kind":"keep-in","floor":0,"ceiling":3}`
	hallGeom  = `{"type":"Polygon","coordinates":[[[0,0],[7,0],[7,5],[0,5],[0,0]],[[1,1],[1,2],[2,2],[1,1]]]}`
)

func TestReadGeoJSON(t *testing.T) {
	got, err := ReadGeoJSON([]byte(`{"type":"FeatureCollection","name":"x","features":[
	{"type":"Feature","id":7,"properties":{"name":"hall","kind":"keep-in","floor":0,"ceiling":3.2,"colour":"green"},"geometry":` + hallGeom + `},
	{"type":"Feature","properties":{"name":"posts","kind":"keep-out","floor":-1,"ceiling":2,"vehicles":["wren","mole"]},"geometry":
	 {"type":"MultiPolygon","coordinates":[[[[3,3],[4,3],[4,4],[3,3]]],[[[5,3],[6,3],[6,4],[5,3]]]]}}]}`))
	want := []Shape{
		{Name: "hall", Kind: KeepIn, Floor: 0, Ceiling: 3.2, Rings: [][]XY{{{0, 0}, {7, 0}, {7, 5}, {0, 5}}, {{1, 1}, {1, 2}, {2, 2}}}},
		{Name: "posts/1", Kind: KeepOut, Floor: -1, Ceiling: 2, Rings: [][]XY{{{3, 3}, {4, 3}, {4, 4}}}, Vehicles: []string{"wren", "mole"}},
		{Name: "posts/2", Kind: KeepOut, Floor: -1, Ceiling: 2, Rings: [][]XY{{{5, 3}, {6, 3}, {6, 4}}}, Vehicles: []string{"wren", "mole"}},
	}
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("got %v, %v\nwant %v", got, err, want)
	}
	// A member in the wrong case, which orb alone would take, changes nothing.
	odd := strings.Replace(hallGeom, `"coordinates"`, `"Coordinates":[[[9,9,9],[8,null]]],"coordinates"`, 1)
	odd = odd[:len(odd)-1] + `,"COORDINATES":[[[0,0],[1,0],[1,1],[0,0]]]}`
	one, err := ReadGeoJSON([]byte(`{"type":"Feature","properties":` + hallProps + `,"geometry":` + odd + `}`))
	if err != nil || len(one) != 1 || !reflect.DeepEqual(one[0].Rings, want[0].Rings) {
		t.Errorf("members in the wrong case: %v, %v", one, err)
	}
	one, err = ReadGeoJSON([]byte(`{"type":"Feature","properties":` + hallProps + `,"geometry":` + hallGeom + `}`))
	if err != nil || len(one) != 1 || one[0].Name != "hall" {
		t.Errorf("a single feature: %v, %v", one, err)
	}
}

// Each text is wrong in one way; the error names the place and what was found.
func TestReadGeoJSONRefuses(t *testing.T) {
	ring := func(s string) string { return `{"type":"Polygon","coordinates":[` + s + `]}` }
	for name, c := range map[string]struct{ text, want string }{
		"nothing":           {``, "not valid JSON"},
		"byte order mark":   {"\ufeff" + oneFeature(hallProps, hallGeom), "byte order mark"},
		"comma at the end":  {"{\n\"type\":\"Feature\",\n}", "in line 2, column 17: there is a comma before '}'"},
		"slip in line 2":    {"{\n  \"type\" \"Feature\"}", "in line 2, column 10: invalid character"},
		"blank":             {" \n", "the file is empty"},
		"cut off":           {`{"type":"FeatureCollection","features":[`, "not valid JSON in line 1, column 41: the text ends in the middle"},
		"twice":             {`{"type":"Feature","type":"Feature"}`, "comes twice in one object"},
		"bare geometry":     {hallGeom, `its type is "Polygon"`},
		"no type":           {`{}`, "its type is missing"},
		"list":              {`[]`, "object"},
		"no features":       {`{"type":"FeatureCollection"}`, "features is missing"},
		"null features":     {`{"type":"FeatureCollection","features":null}`, "features is null"},
		"not a feature":     {`{"type":"FeatureCollection","features":[{"type":"Point"}]}`, "feature 0: it is not a Feature"},
		"null feature":      {`{"type":"FeatureCollection","features":[null]}`, "feature 0: it is not a Feature: null"},
		"no properties":     {oneFeature(`null`, hallGeom), "properties is null"},
		"no name":           {oneFeature(`{"kind":"keep-in","floor":0,"ceiling":3}`, hallGeom), "properties.name is missing"},
		"name not text":     {oneFeature(`{"name":3,"kind":"keep-in","floor":0,"ceiling":3}`, hallGeom), "properties.name is 3, not a text"},
		"no kind":           {oneFeature(`{"name":"a","floor":0,"ceiling":3}`, hallGeom), `feature 0 ("a"): properties.kind is missing`},
		"unknown kind":      {oneFeature(`{"name":"a","kind":"Keep-In","floor":0,"ceiling":3}`, hallGeom), `properties.kind is "Keep-In"`},
		"wrong case":        {oneFeature(`{"name":"a","kind":"keep-in","Floor":0,"ceiling":3}`, hallGeom), "properties.floor is missing"},
		"floor text":        {oneFeature(`{"name":"a","kind":"keep-in","floor":"0","ceiling":3}`, hallGeom), `properties.floor is "0", not a number`},
		"floor null":        {oneFeature(`{"name":"a","kind":"keep-in","floor":null,"ceiling":3}`, hallGeom), "properties.floor is null"},
		"ceiling too large": {oneFeature(`{"name":"a","kind":"keep-in","floor":0,"ceiling":1e400}`, hallGeom), "properties.ceiling is 1e400"},
		"vehicles text":     {oneFeature(`{"name":"a","kind":"keep-in","floor":0,"ceiling":3,"vehicles":"wren"}`, hallGeom), "properties.vehicles is"},
		"vehicles null":     {oneFeature(`{"name":"a","kind":"keep-in","floor":0,"ceiling":3,"vehicles":null}`, hallGeom), "properties.vehicles is null"},
		"vehicles empty":    {oneFeature(`{"name":"a","kind":"keep-in","floor":0,"ceiling":3,"vehicles":[]}`, hallGeom), "properties.vehicles is empty"},
		"vehicle number":    {oneFeature(`{"name":"a","kind":"keep-in","floor":0,"ceiling":3,"vehicles":["a",1]}`, hallGeom), "properties.vehicles[1] is 1"},
		"no geometry":       {oneFeature(hallProps, `null`), "geometry is null"},
		"point":             {oneFeature(hallProps, `{"type":"Point","coordinates":[0,0]}`), `geometry.type is "Point"`},
		"no coordinates":    {oneFeature(hallProps, `{"type":"Polygon"}`), "geometry.coordinates do not fit"},
		"null coordinates":  {oneFeature(hallProps, `{"type":"Polygon","coordinates":null}`), "geometry.coordinates hold null"},
		"flat coordinates":  {oneFeature(hallProps, `{"type":"Polygon","coordinates":[[0,0],[1,1]]}`), "geometry.coordinates do not fit"},
		"text in position":  {oneFeature(hallProps, ring(`[[0,0],[7,"0"],[7,5],[0,0]]`)), "at the outer ring, position 1, number 1 there is a string"},
		"null in position":  {oneFeature(hallProps, ring(`[[0,0],[7,null],[7,5],[0,0]]`)), "geometry.coordinates hold null"},
		"null position":     {oneFeature(hallProps, ring(`[[0,0],null,[7,5],[0,0]]`)), "geometry.coordinates hold null"},
		"empty position":    {oneFeature(hallProps, ring(`[[0,0],[],[7,5],[0,0]]`)), "the outer ring, position 1 has 0 numbers"},
		"one number":        {oneFeature(hallProps, ring(`[[0,0],[7],[7,5],[0,0]]`)), "the outer ring, position 1 has 1 numbers"},
		"deep position":     {oneFeature(hallProps, ring(`[[0,0],[[7],0],[7,5],[0,0]]`)), "at the outer ring, position 1, number 0 there is a list where a number is meant"},
		"other polygon":     {oneFeature(hallProps, `{"type":"MultiPolygon","coordinates":[[[[0,0],[7,0],[7,5],[0,0]]],[[[0,0],[7],[7,5],[0,0]]]]}`), "polygon 1, the outer ring, position 1 has 1 numbers"},
		"wrong case only":   {oneFeature(hallProps, `{"type":"Polygon","Coordinates":[[[0,0],[7,0],[7,5],[0,0]]]}`), "they are missing"},
		"repeated member":   {oneFeature(hallProps, `{"type":"Polygon","coordinates":[[[0,0],[7,0],[7,5],[0,0]]],"coordinates":[]}`), "comes twice in one object"},
		"three numbers":     {oneFeature(hallProps, ring(`[[0,0],[7,0,1],[7,5],[0,0]]`)), "the outer ring, position 1 has 3 numbers"},
		"too large":         {oneFeature(hallProps, ring(`[[0,0],[1e999,0],[7,5],[0,0]]`)), "the number at the outer ring, position 1, number 0 is too large: 1e999"},
		"not closed":        {oneFeature(hallProps, ring(`[[0,0],[7,0],[7,5],[0,5]]`)), "the outer ring is not closed: it begins at (0, 0) and ends at (0, 5)"},
		"three positions":   {oneFeature(hallProps, ring(`[[0,0],[7,0],[0,0]]`)), "the outer ring has 3 positions"},
		"no polygon":        {oneFeature(hallProps, `{"type":"MultiPolygon","coordinates":[]}`), "geometry.coordinates is empty"},
		"degrees":           {oneFeature(hallProps, ring(`[[8.5417,47.3769],[8.5421,47.3769],[8.5421,47.3773],[8.5417,47.3769]]`)), "look like longitude and latitude"},
		"degrees by crs":    {`{"type":"FeatureCollection","crs":{"type":"name","properties":{"name":"urn:ogc:def:crs:OGC:1.3:CRS84"}},"features":[]}`, "crs says longitude and latitude"},
	} {
		got, err := ReadGeoJSON([]byte(c.text))
		if err == nil || got != nil || !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), "Try: ") {
			t.Errorf("%s: got %v, %v; want an error with %q", name, got, err, c.want)
		}
	}
}

// Small things in metres are not taken for degrees as long as the site is not
// small as a whole, nor where the numbers are whole or too large for degrees.
func TestSmallIsNotGeographic(t *testing.T) {
	post := `{"type":"Polygon","coordinates":[[[3.501,2.2],[3.509,2.2],[3.509,2.208],[3.501,2.2]]]}`
	for _, text := range []string{
		`{"type":"FeatureCollection","features":[{"type":"Feature","properties":` + hallProps + `,"geometry":` + hallGeom + `},{"type":"Feature","properties":{"name":"post","kind":"keep-out","floor":0,"ceiling":3},"geometry":` + post + `}]}`,
		oneFeature(hallProps, strings.ReplaceAll(post, "2.2", "92.2")),
	} {
		if _, err := ReadGeoJSON([]byte(text)); err != nil {
			t.Error(err)
		}
	}
}

func TestAllGeoJSONProblemsAtOnce(t *testing.T) {
	_, err := ReadGeoJSON([]byte(`{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"name":"a","floor":0},"geometry":null},{"type":"Feature","properties":{},"geometry":` + hallGeom + `}]}`))
	bad, ok := err.(*BadGeoJSON)
	if !ok || len(bad.Faults) != 7 || bad.Faults[0].Feature != 0 || bad.Faults[6].Feature != 1 {
		t.Errorf("%v", err)
	}
}

// Written in RFC 7946's winding, and read back to the same zones bit for bit.
func TestWriteGeoJSON(t *testing.T) {
	shapes := []Shape{
		{Name: "hall", Kind: KeepIn, Floor: 0, Ceiling: 3.2, Rings: [][]XY{{{0, 5}, {7.1, 5}, {7.1, 0}, {0, 0}}, rect(1, 1, 2, 2)}},
		{Name: `po"st ✓`, Kind: KeepOut, Floor: -1e-9, Ceiling: 1e5, Rings: [][]XY{{{0.1, 0.2}, {1.0 / 3, 0}, {math.Pi, 5e-324}}}, Vehicles: []string{"wren"}},
	}
	data, err := WriteGeoJSON(shapes)
	if err != nil {
		t.Fatal(err)
	}
	got, err := ReadGeoJSON(data)
	if err != nil {
		t.Fatalf("%v\n%s", err, data)
	}
	for i := range got {
		if turning(got[i].Rings[0]) != 1 || len(got[i].Rings) > 1 && turning(got[i].Rings[1]) != -1 {
			t.Errorf("zone %d is wound the other way: %v", i, got[i].Rings)
		}
	}
	want := []Shape{shapes[0], shapes[1]}
	want[0].Rings = [][]XY{{{0, 5}, {0, 0}, {7.1, 0}, {7.1, 5}}, {{1, 1}, {1, 2}, {2, 2}, {2, 1}}}
	want[1].Rings = [][]XY{{{0.1, 0.2}, {1.0 / 3, 0}, {math.Pi, 5e-324}}}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got %v\nwant %v", got, want)
	}
	again, err := WriteGeoJSON(got)
	if err != nil || string(again) != string(data) {
		t.Errorf("not the same text again: %v", err)
	}
}

func TestWriteGeoJSONRefuses(t *testing.T) {
	for name, s := range map[string]Shape{
		"NaN corner": {Name: "a", Kind: KeepIn, Rings: [][]XY{{{0, 0}, {1, math.NaN()}, {1, 1}}}},
		"Inf floor":  {Name: "a", Kind: KeepIn, Floor: math.Inf(-1), Rings: [][]XY{rect(0, 0, 1, 1)}},
		"no kind":    {Name: "a", Rings: [][]XY{rect(0, 0, 1, 1)}},
		"no rings":   {Name: "a", Kind: KeepIn},
		"two points": {Name: "a", Kind: KeepIn, Rings: [][]XY{{{0, 0}, {1, 0}}}},
		"a, b, a":    {Name: "a", Kind: KeepIn, Rings: [][]XY{{{0, 0}, {1, 0}, {0, 0}}}},
		"no vehicle": {Name: "a", Kind: KeepIn, Rings: [][]XY{rect(0, 0, 1, 1)}, Vehicles: []string{"wren", ""}},
		"tiny":       {Name: "a", Kind: KeepIn, Rings: [][]XY{rect(1, 1, 1.049, 1.049)}},
		"bad text":   {Name: "a\xff", Kind: KeepIn, Rings: [][]XY{rect(0, 0, 1, 1)}},
	} {
		if data, err := WriteGeoJSON([]Shape{s}); err == nil || data != nil {
			t.Errorf("%s: %s", name, data)
		}
	}
}

// What is written is read back: just large enough, and just not too many.
func TestWriteGeoJSONToTheBounds(t *testing.T) {
	long := Shape{Name: "long", Kind: KeepIn, Ceiling: 1, Rings: [][]XY{rect(1, 1, 1.06, 1.001)}}
	many := make([]Shape, MaxZones)
	for i := range many {
		many[i] = long
	}
	for _, shapes := range [][]Shape{{long}, many, nil} {
		data, err := WriteGeoJSON(shapes)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := ReadGeoJSON(data); err != nil || len(got) != len(shapes) {
			t.Errorf("%d zones of %d come back: %v", len(got), len(shapes), err)
		}
	}
	if _, err := WriteGeoJSON(append(many, long)); err == nil {
		t.Error("one zone too many was written")
	}
}
