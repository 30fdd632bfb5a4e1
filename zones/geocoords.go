package zones

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"github.com/paulmach/orb"
)

// polygons reads a geometry's coordinates into orb's types, which are the lists that
// RFC 7946 §3.1 names. The json package alone would take null and missing numbers
// for 0; so positions looks first.
func (r *geoReader) polygons(g *geometry) orb.MultiPolygon {
	kind := text(g.Type)
	depth := 3 // rings, positions, numbers
	switch kind {
	case "Polygon":
	case "MultiPolygon":
		depth = 4
	default:
		r.bad("draw the zone as a Polygon or MultiPolygon", "geometry.type is %s", show(g.Type))
		return nil
	}
	if !r.positions(g.Coordinates, depth, kind) {
		return nil
	}
	var out orb.MultiPolygon
	var err error
	if depth == 4 {
		err = json.Unmarshal(g.Coordinates, &out)
	} else {
		out = make(orb.MultiPolygon, 1)
		err = json.Unmarshal(g.Coordinates, &out[0])
	}
	if err != nil {
		r.bad("give lists of positions of two numbers in metres", "geometry.coordinates do not fit a %s: %v", kind, err)
		return nil
	}
	if len(out) == 0 {
		r.bad("give it at least one polygon", "geometry.coordinates is empty")
	}
	return out
}

// positions checks that coordinates are lists of lists of two numbers, depth
// deep, and nothing else.
func (r *geoReader) positions(raw jsontext.Value, depth int, kind string) bool {
	misfit := func(where jsontext.Pointer, what, meant string) bool {
		r.bad("give lists of positions of two numbers in metres",
			"geometry.coordinates do not fit a %s: at %s there is a %s where a %s is meant", kind, spelled(where, kind), what, meant)
		return false
	}
	switch {
	case raw.Kind() == 'n':
		r.bad("give numbers", "geometry.coordinates hold null")
		return false
	case raw.Kind() != '[':
		r.bad("give a list of rings of positions", "geometry.coordinates do not fit a %s: they are %s", kind, show(raw))
		return false
	}
	d := jsontext.NewDecoder(bytes.NewReader(raw))
	for {
		if d.PeekKind() == ']' && d.StackDepth() == depth {
			if _, n := d.StackIndex(depth); n != 2 {
				r.bad("give x and y, in metres; heights go into floor and ceiling", "%s has %d numbers", place(d), n)
				return false
			}
		}
		t, err := d.ReadToken()
		if err != nil {
			return true // the end: the text as a whole was found valid before
		}
		switch k := t.Kind(); {
		case k == 'n':
			r.bad("give numbers", "geometry.coordinates hold null at %s", spelled(d.StackPointer(), kind))
			return false
		case k == '[' && d.StackDepth() > depth:
			return misfit(d.StackPointer(), "list", "number")
		case k == '[' || k == ']':
		case k == '0' && d.StackDepth() == depth:
			if _, err := strconv.ParseFloat(t.String(), 64); err != nil {
				r.bad("give metres in the site frame", "geometry.coordinates: the number at %s is too large: %s", spelled(d.StackPointer(), kind), show(jsontext.Value(t.String())))
				return false
			}
		case k == '0':
			return misfit(d.StackPointer(), "number", "list")
		case d.StackDepth() == depth:
			return misfit(d.StackPointer(), k.String(), "number")
		default:
			return misfit(d.StackPointer(), k.String(), "list")
		}
	}
}

// place names the position that is being read, by ring and place in the ring.
func place(d *jsontext.Decoder) string {
	at := func(depth int) int64 {
		_, n := d.StackIndex(depth)
		return n - 1
	}
	n := d.StackDepth()
	if n == 4 {
		return fmt.Sprintf("polygon %d, %s, position %d", at(1), ringName(int32(at(2))), at(3))
	}
	return fmt.Sprintf("%s, position %d", ringName(int32(at(n-2))), at(n-1))
}

// spelled says in words what a pointer into coordinates points to.
func spelled(where jsontext.Pointer, kind string) string {
	var out []string
	what := []string{"ring", "position", "number"}
	if kind == "MultiPolygon" {
		what = append([]string{"polygon"}, what...)
	}
	for token := range where.Tokens() {
		if len(out) == len(what) {
			break
		}
		word := what[len(out)] + " " + token
		if k, err := strconv.Atoi(token); err == nil && what[len(out)] == "ring" {
			word = ringName(int32(k))
		}
		out = append(out, word)
	}
	return strings.Join(out, ", ")
}

// rings checks that rings are closed and drops the closing position of each.
func (r *geoReader) rings(in orb.Polygon) [][]XY {
	out := make([][]XY, len(in))
	for k, ring := range in {
		n := len(ring)
		if n < 4 {
			r.bad("give at least three corners and the first again", "%s has %d positions, at least 4 are needed", ringName(int32(k)), n)
			return nil
		}
		if !ring.Closed() {
			r.bad("repeat the first position at the end", "%s is not closed: it begins at (%g, %g) and ends at (%g, %g)",
				ringName(int32(k)), ring[0].X(), ring[0].Y(), ring[n-1].X(), ring[n-1].Y())
			return nil
		}
		for _, p := range ring[:n-1] {
			out[k] = append(out[k], XY{p.X(), p.Y()})
		}
	}
	return out
}
