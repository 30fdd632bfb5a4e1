package zones

import (
	"encoding/binary"
	"math"
	"testing"
)

// FuzzReadGeoJSON: no text makes the reader fail otherwise than by an error;
// what it reads and New takes is written and read back to the same answers.
func FuzzReadGeoJSON(f *testing.F) {
	f.Add([]byte(oneFeature(hallProps, hallGeom)))
	f.Add([]byte(oneFeature(`{"name":"a","kind":"keep-out","floor":-1,"ceiling":1e3,"vehicles":["x"]}`, `{"type":"MultiPolygon","coordinates":[[[[0,0],[1,0],[0,1],[0,0]]],[[[3,3],[4,3],[4,4],[3,3]]]]}`)))
	f.Add([]byte(`{"type":"Feature","properties":{},"geometry":{"type":"Polygon","coordinates":[[[1e308,0],[-1e308,null]]]}}`))
	f.Add([]byte(`{"type":"FeatureCollection","features":[null,{}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		shapes, err := ReadGeoJSON(data)
		if err != nil {
			if shapes != nil || err.Error() == "" {
				t.Fatalf("%v with %v", shapes, err)
			}
			return
		}
		s, err := New(shapes)
		if err != nil {
			_ = err.Error()
			return
		}
		text, err := WriteGeoJSON(s.Shapes())
		if err != nil {
			t.Fatal(err)
		}
		again, err := ReadGeoJSON(text)
		if err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		s2 := mustNew(t, again...)
		for i := range s.Shapes() {
			for _, v := range s.Shapes()[i].Rings[0] {
				w := point(v.X+0.25, v.Y, s.Shapes()[i].Floor)
				if a, b := s.Clearance(w), s2.Clearance(w); a.Clearance != b.Clearance {
					t.Fatalf("clearance %g, written and read %g", a.Clearance, b.Clearance)
				}
			}
		}
	})
}

// FuzzNew: whatever the corners, New either says what is wrong or makes a Set
// whose corners are on the boundary, exactly, and whose sides agree with
// rational arithmetic.
func FuzzNew(f *testing.F) {
	seed := func(split uint8, v ...float64) {
		var b []byte
		for _, x := range v {
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(x))
		}
		f.Add(b, split)
	}
	seed(0, 0, 0, 10, 0, 10, 10, 0, 10)
	seed(4, 0, 0, 10, 0, 10, 10, 0, 10, 2, 2, 3, 2, 3, 3)
	seed(0, 0, 0, 0, 1, 1, 0, 1, 1)                                     // bow tie
	seed(0, 0, 60, 0, 0, 60, 0, 60, 20, 100, 20, 60, 20, 60, 60)        // spike
	seed(0, 0.5, 0.5, 12, 12, 24, 24.000000000000004)                   // sliver
	seed(0, 0, 0, math.NaN(), 1, 1, 0)                                  //
	seed(0, 5e-324, 0, 0, 5e-324, -5e-324, 0)                           // as small as can be
	seed(4, 0, 0, 1e5, 0, 1e5, 1e5, 0, 1e5, 0, 0, 1e-300, 1, 1, 1e-300) // touches in a corner
	f.Fuzz(func(t *testing.T, data []byte, split uint8) {
		var all []XY
		for len(data) >= 16 && len(all) < 40 {
			all = append(all, XY{math.Float64frombits(binary.LittleEndian.Uint64(data)), math.Float64frombits(binary.LittleEndian.Uint64(data[8:]))})
			data = data[16:]
		}
		rings := [][]XY{all}
		if k := int(split); k > 0 && k < len(all) {
			rings = [][]XY{all[:k], all[k:]}
		}
		s, err := New([]Shape{zoneOf(rings)})
		if err != nil {
			if e, ok := err.(*Invalid); !ok || len(e.Problems) == 0 || e.Error() == "" {
				t.Fatalf("%v", err)
			}
			return
		}
		for _, r := range s.Shapes()[0].Rings {
			for i, v := range r {
				if c := s.Clearance(point(v.X, v.Y, 0)).Clearance; c != 0 {
					t.Fatalf("clearance %g at corner %v", c, v)
				}
				w := r[(i+1)%len(r)]
				x, y := v.X/2+w.X/2, v.Y/2+w.Y/2
				if got, want := signOf(s.Clearance(point(x, y, 0)).Clearance), ratLocate(s.Shapes()[0].Rings, x, y); got != want {
					t.Fatalf("at (%g, %g): %d, want %d", x, y, got, want)
				}
			}
		}
	})
}
