package review

import (
	"bufio"
	"encoding/json"
	"fmt"
	"math"
	"time"

	"pinfold/watchdog"
	"pinfold/watchdog/trail"
)

// geoFrame is what an export says about its coordinates.
const geoFrame = "metres in the site frame, x and y on the floor, z up; no longitudes and latitudes (RFC 7946 §4, prior arrangement)"

// geoDoc is a FeatureCollection; frame and what follows are foreign members
// (RFC 7946 §6.1).
type geoDoc struct {
	Type     string       `json:"type"`
	Features []geoFeature `json:"features"`
	Frame    string       `json:"frame"`
	Session  string       `json:"session"`
	Site     string       `json:"site"`
	Started  time.Time    `json:"started"`
	Note     string       `json:"note"`
}

type geoFeature struct {
	Type       string       `json:"type"`
	Geometry   *geoGeometry `json:"geometry"` // null: it has no known place (RFC 7946 §3.2)
	Properties any          `json:"properties"`
}

type geoGeometry struct {
	Type        string `json:"type"`
	Coordinates any    `json:"coordinates"`
}

// geoTrack are the properties of a track.
type geoTrack struct {
	What    string `json:"what"` // track
	Vehicle string `json:"vehicle"`
	Poses   uint64 `json:"poses"` // judged; the line has fewer points
	// Times are the session instants of the line's points, s.
	Times []float64 `json:"times_s"`
}

// geoEpisode are the properties of an episode.
type geoEpisode struct {
	What string `json:"what"` // episode
	Row
}

// spot is where a vehicle was when something was recorded.
type spot struct {
	t   float64
	at  [3]float64
	key string
}

// geo gathers tracks and places.
type geo struct {
	thin  []*thinner
	poses []uint64
	now   [][3]float64
	known []bool
	spots []spot
	names []string
}

func writeGeo(a *again, r *trail.Reader, x *exporter, folder, note string, w *bufio.Writer) error {
	sum, err := Read(folder)
	if err != nil {
		return err
	}
	n := len(a.meta.Vehicles)
	g := &geo{thin: make([]*thinner, n), poses: make([]uint64, n), now: make([][3]float64, n), known: make([]bool, n), names: a.meta.Vehicles}
	for i := range g.thin {
		g.thin[i] = newThinner(sum.last.Seconds())
	}
	x.write = g.pose
	if err := x.run(a, r, g.step); err != nil {
		return err
	}
	doc := geoDoc{Type: "FeatureCollection", Features: []geoFeature{}, Frame: geoFrame, Session: sum.ID, Site: sum.Site, Started: a.meta.Started, Note: note}
	wanted := map[string]bool{}
	for _, name := range x.out.Vehicles {
		wanted[name] = true
	}
	for i, name := range g.names {
		if wanted[name] {
			doc.Features = append(doc.Features, g.track(i))
		}
	}
	for i := range sum.Rows {
		if row := &sum.Rows[i]; wanted[row.Vehicle] {
			doc.Features = append(doc.Features, geoFeature{Type: "Feature", Geometry: g.place(row), Properties: geoEpisode{"episode", *row}})
			x.out.Episodes++
		}
	}
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	if err := e.Encode(&doc); err != nil {
		return fmt.Errorf("review: GeoJSON: %w", err)
	}
	return w.Flush()
}

func (g *geo) pose(vehicle int, s *watchdog.Snapshot, t float64) {
	p := &s.Pose.Position
	g.now[vehicle], g.known[vehicle] = [3]float64{p.X, p.Y, p.Z}, true
	g.poses[vehicle]++
	g.thin[vehicle].add(&moment{t: t, x: p.X, y: p.Y, z: p.Z, level: s.Level, clear: math.NaN()})
}

// step notes where episodes are confirmed and commands called.
func (g *geo) step(s *step) {
	if !g.known[s.vehicle] {
		return
	}
	for i := range s.effects {
		k, t := "", s.item.At.Seconds()
		switch b := s.effects[i].Record.Body.(type) {
		case watchdog.Episode:
			k, t = key(g.names[s.vehicle], b.Cause, b.Name), b.From.Seconds()
		case watchdog.CommandSent:
			k = key(g.names[s.vehicle], b.Cause.Word, b.Cause.Name)
		default:
			continue
		}
		g.spots = append(g.spots, spot{t: t, at: g.now[s.vehicle], key: k})
	}
}

// place is where the vehicle was when the episode was confirmed, or, of a stop
// without one, called.
func (g *geo) place(r *Row) *geoGeometry {
	k := key(r.Vehicle, r.Cause, r.Name)
	for i := range g.spots {
		if s := &g.spots[i]; s.key == k && s.t == r.From {
			return &geoGeometry{"Point", s.at}
		}
	}
	return nil
}

func (g *geo) track(i int) geoFeature {
	g.thin[i].flush()
	path := g.thin[i].track.Path
	f := geoFeature{Type: "Feature"}
	props := geoTrack{What: "track", Vehicle: g.names[i], Poses: g.poses[i], Times: []float64{}}
	line := make([][3]float64, 0, len(path))
	for _, p := range path {
		line = append(line, [3]float64{p.X, p.Y, p.Z})
		props.Times = append(props.Times, p.T)
	}
	switch len(line) {
	case 0:
	case 1: // a LineString has two positions or more (RFC 7946 §3.1.4)
		f.Geometry = &geoGeometry{"Point", line[0]}
	default:
		f.Geometry = &geoGeometry{"LineString", line}
	}
	f.Properties = props
	return f
}
