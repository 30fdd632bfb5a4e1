package zones

// The bounds of a Set. Meeting one is a Problem of kind TooMuch or TooFar,
// never a silent cut. Lengths in metres, site frame.
const (
	// MaxZones bounds the shapes of one site.
	MaxZones = 1000
	// MaxRings bounds the rings of one shape, outer ring and holes together.
	MaxRings = 1000
	// MaxVertices bounds the vertices of one shape, all rings together; corners
	// that close a ring are not counted.
	MaxVertices = 10_000
	// MaxTotal bounds the vertices of one site. It is below MaxZones times
	// MaxVertices so that the index of a full site (about 200 bytes a vertex,
	// for the first 250 000 walls up to 384 more) fits a board of 2 GB with
	// room to spare.
	MaxTotal = 1_000_000
	// MaxCoordinate bounds |x|, |y|, |floor| and |ceiling| of a shape: 100 km.
	MaxCoordinate = 100_000.0
	// MaxQuery bounds every length of a Sweep. A sweep beyond it is answered
	// like one that is not finite: not inside, clearance minus infinity.
	MaxQuery = 1_000_000.0
	// MaxProblems bounds the list New hands back; the last entry then says
	// that there are more.
	MaxProblems = 100
	// MaxName bounds the bytes of a zone's name.
	MaxName = 200
	// MaxWalls bounds the pieces the walls of overlapping keep-in zones are
	// cut into, counted over the site. Loading a site at its bounds takes some
	// ten seconds; see README.md.
	MaxWalls = 4 * MaxTotal
	// MaxGeoJSON bounds the bytes ReadGeoJSON takes: 64 MiB.
	MaxGeoJSON = 64 << 20
)
