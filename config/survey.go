package config

import (
	"path/filepath"

	"pinfold/watchdog/pose"
	"pinfold/zones"
)

// LoadSurvey reads the site file at path for whoever is still surveying the
// room: its zones may be missing or wrong, and everything else is checked as by
// Load. The vehicles have no Zones and are not to be guarded by; Shapes holds
// what could be read. zoneFiles are the paths of the zone files that it names,
// whether they are there or not.
func LoadSurvey(path string) (s *Site, zoneFiles []string, err error) {
	s, err = load(path, func(m *means) {
		m.survey = func(name string) { zoneFiles = append(zoneFiles, below(filepath.Dir(path), name)) }
	})
	return s, zoneFiles, err
}

// surveyed gives the vehicles what can be said without sound zones.
func (l *loader) surveyed(s *Site, drafts []*draft, all []*declared) {
	for _, d := range drafts {
		if !d.sound {
			continue
		}
		if _, err := pose.NewTrack(d.cfg.Pose); err != nil {
			l.add(d.table.at, "vehicle", show(d.name), "is not accepted: "+trimPrefix(err, "pose: "), "mend this value")
			continue
		}
		var shapes []zones.Shape
		for _, z := range all {
			if z.sound && !z.slow && z.isFor(d.name) {
				shapes = append(shapes, z.shape)
			}
		}
		s.Vehicles = append(s.Vehicles, Vehicle{Name: d.name, Config: d.cfg, Shapes: shapes, AlignFile: d.alignFile, Signing: d.signing})
	}
}
