package survey

import (
	"errors"
	"strings"
	"testing"

	"pinfold/zones"
)

func traced(name string, x float64) zones.Shape {
	return zones.Shape{Name: name, Kind: zones.KeepOut, Floor: 0, Ceiling: 2, Vehicles: []string{"wren"},
		Rings: [][]zones.XY{{{X: x}, {X: x + 1}, {X: x + 1, Y: 1}, {X: x, Y: 1}}}}
}

const oneFeature = `{"type":"Feature","properties":{"name":"hall","kind":"keep-in","floor":0,"ceiling":4,"by":"tape, in May"},
 "geometry":{"type":"Polygon","coordinates":[[[0,0],[9,0],[9,6],[0,6],[0,0]]]}}`

// Everything that was there stays, to the byte.
func TestPutZoneKeepsTheRest(t *testing.T) {
	collection := "{ \"note\": \"as surveyed\", \"type\":\"FeatureCollection\",\n\t\"features\": [\n" + oneFeature + "\n],\"more\":{\"features\":[1]} }\n"
	for name, text := range map[string]string{
		"new": "", "blank": " \n", "collection": collection, "single": oneFeature,
		"empty": `{"features":[],"type":"FeatureCollection"}`,
	} {
		out, err := PutZone([]byte(text), traced("post", 2), false)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		shapes, err := zones.ReadGeoJSON(out)
		if err != nil {
			t.Fatalf("%s: %v\n%s", name, err, out)
		}
		last := shapes[len(shapes)-1]
		if last.Name != "post" || last.Kind != zones.KeepOut || last.Ceiling != 2 || len(last.Rings[0]) != 4 || len(last.Vehicles) != 1 {
			t.Errorf("%s: %+v", name, last)
		}
		if had := strings.Contains(text, "hall"); had && !strings.Contains(string(out), strings.TrimSpace(oneFeature)) {
			t.Errorf("%s: what was there is changed:\n%s", name, out)
		}
		if name == "collection" {
			cut := strings.Replace(string(out), ",\n  {\"type\":\"Feature\"", "\x00", 1)
			if i := strings.IndexByte(cut, 0); i < 0 || !strings.HasPrefix(collection, cut[:i]) || !strings.HasSuffix(cut, "\n],\"more\":{\"features\":[1]} }\n") {
				t.Errorf("the rest is changed:\n%s", out)
			}
		}
	}
}

func TestPutZoneReplacesOnlyWhenAsked(t *testing.T) {
	first, err := PutZone([]byte(oneFeature), traced("post", 2), false)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := PutZone(first, traced("post", 4), false); !errors.Is(err, ErrNameTaken) {
		t.Errorf("a taken name: %v", err)
	}
	second, err := PutZone(first, traced("post", 4), true)
	if err != nil {
		t.Fatal(err)
	}
	shapes, err := zones.ReadGeoJSON(second)
	if err != nil || len(shapes) != 2 || shapes[1].Rings[0][0].X != 4 || shapes[0].Name != "hall" {
		t.Errorf("%v %+v", err, shapes)
	}
}

// One outline cannot stand for a zone with holes or of several polygons.
func TestPutZoneLosesNothing(t *testing.T) {
	feature := func(geometry string) string {
		return `{"type":"Feature","properties":{"name":"post","kind":"keep-in","floor":0,"ceiling":4},"geometry":` + geometry + `}`
	}
	outer, hole := `[[0,0],[9,0],[9,6],[0,6],[0,0]]`, `[[2,2],[3,2],[3,3],[2,3],[2,2]]`
	far := `[[20,0],[29,0],[29,6],[20,6],[20,0]]`
	for _, c := range []struct{ name, geometry, put, want string }{
		{"a hole", `{"type":"Polygon","coordinates":[` + outer + `,` + hole + `]}`, "post", "has a hole, which would be lost"},
		{"two holes", `{"type":"Polygon","coordinates":[` + outer + `,` + hole + `,[[5,2],[6,2],[6,3],[5,2]]]}`, "post", "has 2 holes"},
		{"two parts", `{"type":"MultiPolygon","coordinates":[[` + outer + `],[` + far + `]]}`, "post", "has 2 polygons"},
		{"one part of two", `{"type":"MultiPolygon","coordinates":[[` + outer + `],[` + far + `]]}`, "post/2", `one of the 2 polygons of "post"`},
		{"a hole in one part", `{"type":"MultiPolygon","coordinates":[[` + outer + `,` + hole + `]]}`, "post", "has a hole"},
	} {
		for name, text := range map[string]string{"alone": feature(c.geometry), "listed": `{"type":"FeatureCollection","features":[` + feature(c.geometry) + `]}`} {
			out, err := PutZone([]byte(text), traced(c.put, 2), true)
			if !errors.Is(err, ErrLoses) || !strings.Contains(err.Error(), c.want) || out != nil {
				t.Errorf("%s, %s: %v, want %q\n%s", c.name, name, err, c.want, out)
			}
		}
	}
	one := feature(`{"type":"MultiPolygon","coordinates":[[` + outer + `]]}`)
	if _, err := PutZone([]byte(one), traced("post", 2), true); err != nil {
		t.Errorf("a single polygon: %v", err)
	}
	if _, err := PutZone([]byte(one), traced("post/2", 20), false); err != nil {
		t.Errorf("a name beside: %v", err)
	}
}

func TestPutZoneRefuses(t *testing.T) {
	bad := traced("post", 2)
	bad.Rings[0][1] = bad.Rings[0][0]
	bad.Rings[0][2] = bad.Rings[0][0]
	for name, c := range map[string]struct {
		text string
		s    zones.Shape
	}{
		"not JSON":       {"{", traced("post", 2)},
		"not a map":      {`{"type":"Topology"}`, traced("post", 2)},
		"zone of a line": {oneFeature, bad},
		"no name":        {oneFeature, traced("", 1)},
	} {
		if out, err := PutZone([]byte(c.text), c.s, true); err == nil {
			t.Errorf("%s is taken:\n%s", name, out)
		}
	}
}

// FuzzPutZone: whatever the text, the zone is refused, or it is there beside
// all that was there before.
func FuzzPutZone(f *testing.F) {
	for _, text := range []string{"", "{}", oneFeature, `{"features":[` + oneFeature + `],"type":"FeatureCollection"}`,
		`{"type":"FeatureCollection","features":[]}`, "[" + oneFeature + "]"} {
		f.Add([]byte(text), true)
		f.Add([]byte(text), false)
	}
	f.Fuzz(func(t *testing.T, text []byte, replace bool) {
		before, _ := zones.ReadGeoJSON(text)
		out, err := PutZone(text, traced("post", 2), replace)
		if err != nil {
			return
		}
		after, err := zones.ReadGeoJSON(out)
		if err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		had, has := map[string]bool{}, map[string]bool{}
		for i := range before {
			had[before[i].Name] = true
		}
		for i := range after {
			has[after[i].Name] = true
		}
		if had["post"] && !replace || !has["post"] {
			t.Fatalf("%q became %q", text, out)
		}
		for name := range had {
			if !has[name] && !strings.HasPrefix(name, "post/") {
				t.Fatalf("%q is gone: %q became %q", name, text, out)
			}
		}
	})
}

// A post of 3 cm is put into a hall; alone it would pass for degrees.
func TestPutZoneTakesASmallOne(t *testing.T) {
	post := traced("post", 2.5)
	for i, v := range [][2]float64{{2.5, 1.5}, {2.53, 1.5}, {2.53, 1.53}, {2.5, 1.53}} {
		post.Rings[0][i] = zones.XY{X: v[0], Y: v[1]}
	}
	out, err := PutZone([]byte(oneFeature), post, false)
	if err != nil {
		t.Fatal(err)
	}
	shapes, err := zones.ReadGeoJSON(out)
	if err != nil || len(shapes) != 2 || len(shapes[1].Rings[0]) != 4 || shapes[1].Rings[0][2] != post.Rings[0][2] {
		t.Errorf("%+v, %v", shapes, err)
	}
	if _, err := PutZone(nil, post, false); err == nil || !strings.Contains(err.Error(), "longitude") {
		t.Errorf("as the whole site: %v", err)
	}
}
