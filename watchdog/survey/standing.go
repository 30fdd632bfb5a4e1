package survey

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/go-json-experiment/json"

	"pinfold/zones"
)

// ErrLoses is the error for a zone that one outline cannot replace.
var ErrLoses = errors.New("a walk draws one outline; trace it under another name, and take the old zone out of the file once you have looked at both")

// Standing gives the zone of a GeoJSON text that PutZone would put one of that
// name in the place of; nil where there is none. A zone with holes, or of
// several polygons, is refused by ErrLoses: one outline cannot stand for it, and
// a keep-in zone without its hole would allow what is in the hole.
func Standing(text []byte, name string) (*zones.Shape, error) {
	shapes, err := zones.ReadGeoJSON(text)
	if err != nil {
		return nil, err
	}
	all, _, err := features(text)
	if err != nil {
		return nil, err
	}
	for _, at := range all {
		var f drawn
		if at.to == at.from {
			break // an empty list
		}
		if err := json.Unmarshal(text[at.from:at.to], &f); err != nil {
			return nil, err
		}
		if err := f.loses(name); err != nil {
			return nil, err
		}
	}
	if i := slices.IndexFunc(shapes, func(s zones.Shape) bool { return s.Name == name }); i >= 0 {
		return &shapes[i], nil
	}
	return nil, nil
}

// loses says what would be lost of the feature if one outline of that name took
// its place.
func (f *drawn) loses(name string) error {
	rings, own := f.rings(), f.Properties.Name
	part := len(rings) > 1 && strings.HasPrefix(name, own+"/")
	switch {
	case part && isPart(name[len(own)+1:], len(rings)):
		return fmt.Errorf("zone %q is one of the %d polygons of %q: %w", name, len(rings), own, ErrLoses)
	case own != name:
	case len(rings) > 1:
		return fmt.Errorf("zone %q is there and has %d polygons, of which all but one would be lost: %w", name, len(rings), ErrLoses)
	case len(rings) == 1 && rings[0] == 2:
		return fmt.Errorf("zone %q is there and has a hole, which would be lost: %w", name, ErrLoses)
	case len(rings) == 1 && rings[0] > 2:
		return fmt.Errorf("zone %q is there and has %d holes, which would be lost: %w", name, rings[0]-1, ErrLoses)
	}
	return nil
}

// isPart tells whether word is the number of one of n polygons.
func isPart(word string, n int) bool {
	for i := 1; i <= n; i++ {
		if word == fmt.Sprint(i) {
			return true
		}
	}
	return false
}
