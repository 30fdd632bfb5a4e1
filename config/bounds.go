package config

// The bounds of a site. Meeting one is a Problem, never a silent cut.
const (
	// MaxSiteFile bounds the bytes of a site file: 1 MiB, some 50 000 corners.
	// Larger zones belong in a GeoJSON file.
	MaxSiteFile = 1 << 20
	// MaxZoneFiles bounds the zone files of a site.
	MaxZoneFiles = 100
	// MaxVehicles bounds the vehicles of a site.
	MaxVehicles = 100
	// MaxProblems bounds a list of Problems; the last entry then says how many
	// more there are.
	MaxProblems = 200
	// MaxName bounds the bytes of a name of a vehicle or guard.
	MaxName = 64
	// MaxText bounds the bytes of the site's name and local rules.
	MaxText = 2000
	// maxDepth bounds the nesting of values in a site file.
	maxDepth = 64
)
