package config

import "pinfold/zones"

// fill will ask zones.Set.Usable; until that exists every pen counts as one
// square metre.
func (s *Space) fill(set *zones.Set, n need) {
	s.Area, s.Pieces, s.Top = 1, 1, set.Shapes()[0].Ceiling-n.above
}

func readGeoJSON(data []byte) ([]zones.Shape, error) { return zones.ReadGeoJSON(data) }
