package zones

import (
	"encoding/json"
	"testing"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/geojson"
	"pgregory.net/rapid"
)

// What is written and what is read is GeoJSON as orb has it, another's reading of
// RFC 7946, number for number.
func TestGeoJSONIsOrbs(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		number := rapid.Float64Range(-1e5, 1e5)
		var ring [][2]float64
		for range rapid.IntRange(3, 8).Draw(t, "corners") {
			ring = append(ring, [2]float64{number.Draw(t, "x"), number.Draw(t, "y")})
		}
		ring = append(ring, [2]float64{1000, 0}) // larger than what passes for degrees
		s := Shape{Name: `net "<&>" ä`, Kind: KeepIn, Ceiling: 3.2, Vehicles: []string{"wren"}, Rings: [][]XY{nil}}
		for _, p := range ring {
			s.Rings[0] = append(s.Rings[0], XY{p[0], p[1]})
		}
		data, err := WriteGeoJSON([]Shape{s})
		if err != nil {
			t.Skip(err) // like degrees, or corners that fall together
		}
		theirs, err := geojson.UnmarshalFeatureCollection(data)
		if err != nil || len(theirs.Features) != 1 {
			t.Fatalf("orb reads %v of\n%s", err, data)
		}
		f := theirs.Features[0]
		got, ok := f.Geometry.(orb.Polygon)
		if !ok || !got.Equal(closedRings(s.Rings)) || f.Properties["name"] != s.Name || f.Properties["ceiling"] != s.Ceiling {
			t.Fatalf("orb reads %v of\n%s", f, data)
		}

		for _, g := range []orb.Geometry{got, orb.MultiPolygon{got, got}} {
			text, err := json.Marshal(geojson.NewGeometry(g))
			if err != nil {
				t.Fatal(err)
			}
			var read geometry
			if err := json.Unmarshal(text, &read); err != nil {
				t.Fatal(err)
			}
			var r geoReader
			want, many := g.(orb.MultiPolygon)
			if !many {
				want = orb.MultiPolygon{got}
			}
			if back := r.polygons(&read); !back.Equal(want) {
				t.Fatalf("read %v of orb's\n%s", back, text)
			}
		}
	})
}
