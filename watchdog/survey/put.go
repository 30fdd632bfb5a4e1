package survey

import (
	"bytes"
	"errors"
	"fmt"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"pinfold/zones"
)

// ErrNameTaken is PutZone's error for a zone that is there already.
var ErrNameTaken = errors.New("a zone of that name is there already")

// PutZone puts a zone into a GeoJSON text and leaves every other byte of it as
// it is; an empty text gets a collection. A feature of the same name is
// ErrNameTaken, or is replaced where replace is set and Standing says that
// nothing of it would be lost. What comes of it is read back, and checked by
// zones.New together with all that was there.
func PutZone(text []byte, s zones.Shape, replace bool) ([]byte, error) {
	feature, err := zones.WriteFeature(s)
	if err != nil {
		return nil, err
	}
	out := fmt.Appendf(nil, "{\n \"type\": \"FeatureCollection\",\n \"features\": [\n  %s\n ]\n}\n", feature)
	if len(bytes.TrimSpace(text)) > 0 {
		if _, err := Standing(text, s.Name); err != nil {
			return nil, err
		}
		if out, err = spliced(text, feature, s.Name, replace); err != nil {
			return nil, err
		}
	}
	shapes, err := zones.ReadGeoJSON(out)
	if err != nil {
		return nil, err
	}
	if _, err := zones.New(shapes); err != nil {
		return nil, err
	}
	return out, nil
}

// span is where a value stands in a text.
type span struct{ from, to int }

// spliced puts feature into text, which zones.ReadGeoJSON takes: in the place
// of the one that is called name, or after the last.
func spliced(text, feature []byte, name string, replace bool) ([]byte, error) {
	all, single, err := features(text)
	if err != nil {
		return nil, err
	}
	for _, f := range all {
		switch {
		case nameOf(text[f.from:f.to]) != name:
		case !replace:
			return nil, ErrNameTaken
		default:
			return join(text[:f.from], feature, text[f.to:]), nil
		}
	}
	switch n := len(all); {
	case single:
		return fmt.Appendf(nil, "{\n \"type\": \"FeatureCollection\",\n \"features\": [\n  %s,\n  %s\n ]\n}\n", bytes.TrimSpace(text), feature), nil
	case all[n-1].to == all[n-1].from: // the place after an empty list's bracket
		return join(text[:all[0].from], feature, text[all[0].to:]), nil
	default:
		return join(text[:all[n-1].to], []byte(",\n  "), feature, text[all[n-1].to:]), nil
	}
}

func join(parts ...[]byte) []byte { return bytes.Join(parts, nil) }

// features gives the places of all features; of an empty list one empty place.
// single means that the text itself is the only one.
func features(text []byte) (all []span, single bool, err error) {
	d := jsontext.NewDecoder(bytes.NewReader(text))
	if _, err := d.ReadToken(); err != nil {
		return nil, false, err
	}
	for d.PeekKind() == '"' {
		key, err := d.ReadToken()
		if err != nil {
			return nil, false, err
		}
		if key.String() != "features" || d.PeekKind() != '[' {
			if err := d.SkipValue(); err != nil {
				return nil, false, err
			}
			continue
		}
		if _, err := d.ReadToken(); err != nil {
			return nil, false, err
		}
		open := int(d.InputOffset())
		for d.PeekKind() == '{' {
			v, err := d.ReadValue()
			if err != nil {
				return nil, false, err
			}
			to := int(d.InputOffset())
			all = append(all, span{to - len(v), to})
		}
		if len(all) == 0 {
			all = []span{{open, open}}
		}
		return all, false, nil
	}
	return []span{{0, len(text)}}, true, nil
}

// drawn is what of a feature says its name and how many outlines it has.
type drawn struct {
	Properties struct {
		Name string `json:"name"`
	} `json:"properties"`
	Geometry struct {
		Type        string           `json:"type"`
		Coordinates []jsontext.Value `json:"coordinates"`
	} `json:"geometry"`
}

// nameOf is what a feature is called; empty where it has no name.
func nameOf(feature []byte) string {
	var f drawn
	if err := json.Unmarshal(feature, &f); err != nil {
		return ""
	}
	return f.Properties.Name
}

// rings gives the number of rings of each polygon of the feature.
func (f *drawn) rings() (n []int) {
	if f.Geometry.Type == "Polygon" {
		return []int{len(f.Geometry.Coordinates)}
	}
	for _, p := range f.Geometry.Coordinates {
		var list []jsontext.Value
		_ = json.Unmarshal(p, &list) // zones.ReadGeoJSON took it
		n = append(n, len(list))
	}
	return n
}
