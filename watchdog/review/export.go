package review

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"pinfold/watchdog"
	"pinfold/watchdog/pose"
	"pinfold/watchdog/trail"
)

// Format is a format that a session can be exported in.
type Format string

// Formats of an export.
const (
	// CSV has a line for each judged pose: its stamp in ns of the sender's
	// clock, the place of the body's centre in m and its orientation, site
	// frame; horizontal speed in m/s, tilt in degrees, the room left before a
	// stop in m, and the level. What is not known is empty. Its first eight
	// columns are those of a recording.
	CSV Format = "csv"
	// GeoJSON has each track as a LineString, thinned so that extremes are kept,
	// and each episode as a Point; in metres in the site frame (RFC 7946 §4,
	// prior arrangement).
	GeoJSON Format = "geojson"
	// TUM has the judged poses as "timestamp tx ty tz qx qy qz qw", the stamp in
	// s (TUM RGB-D benchmark, file formats), in the site frame.
	TUM Format = "tum"
	// Parquet has the columns of CSV, and in the file's own metadata the session,
	// the vehicle and the frame.
	Parquet Format = "parquet"
)

// Exported says what an export holds.
type Exported struct {
	Session  string   `json:"session"`
	Format   Format   `json:"format"`
	Vehicles []string `json:"vehicles"`
	Poses    uint64   `json:"poses"`    // judged, and written or in a track
	Void     uint64   `json:"void"`     // left out: the tracker was not tied to the room
	Episodes int      `json:"episodes"` // written; GeoJSON only
	// Same says that the session, judged again, came to the decisions in its
	// trail; First is the first that it did not come to.
	Same  bool   `json:"same_decisions"`
	First string `json:"first_difference,omitempty"`
	// Problem is the first thing that is wrong with the session's trail, which is
	// written all the same; empty: it holds.
	Problem string `json:"trail_problem,omitempty"`
}

// Export writes the session in folder to w. vehicle is the one to write; it may
// be empty where the session has one only, and for GeoJSON, which then holds
// all. note is what a GeoJSON document or a Parquet file says about its own
// limits.
func Export(folder, vehicle string, f Format, note string, w io.Writer) (*Exported, error) {
	out, err := export(folder, vehicle, f, note, w)
	if err == nil {
		out.Problem, err = wrong(folder)
	}
	return out, err
}

// wrong says what is wrong with a session's trail first; nothing where it holds,
// or is only cut off in its last line.
func wrong(folder string) (string, error) {
	p, err := trail.Verify(folder, "")
	switch {
	case err != nil:
		return "", err
	case p.OK() || p.TornOnly():
		return "", nil
	case len(p.Problems) == 0:
		return "no line could be read", nil
	}
	return p.Problems[0].String(), nil
}

func export(folder, vehicle string, f Format, note string, w io.Writer) (*Exported, error) {
	r, err := trail.Open(folder)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	a, err := prepare(r)
	if err != nil {
		return nil, err
	}
	names := a.meta.Vehicles
	switch {
	case vehicle != "" && !slices.Contains(names, vehicle):
		return nil, fmt.Errorf("review: the session has no vehicle %q; it has %s", vehicle, strings.Join(names, ", "))
	case vehicle == "" && len(names) != 1 && f != GeoJSON:
		return nil, fmt.Errorf("review: %s holds one vehicle; say which: %s", f, strings.Join(names, ", "))
	}
	out := &Exported{Session: a.meta.Session, Format: f, Vehicles: []string{}}
	for _, n := range names {
		if vehicle == "" || vehicle == n {
			out.Vehicles = append(out.Vehicles, n)
		}
	}
	b := bufio.NewWriterSize(w, 1<<16)
	x := &exporter{out: out, seen: make([]posed, len(names))}
	switch f {
	case CSV:
		b.WriteString(csvHead)
		x.write = func(_ int, s *watchdog.Snapshot, _ float64) { x.line = appendCSV(x.line[:0], s); b.Write(x.line) }
	case TUM:
		b.WriteString(tumHead)
		x.write = func(_ int, s *watchdog.Snapshot, _ float64) { x.line = appendTUM(x.line[:0], &s.Pose); b.Write(x.line) }
	case GeoJSON:
		return out, writeGeo(a, r, x, folder, note, b)
	case Parquet:
		return out, writeParquet(a, r, x, note, b)
	default:
		return nil, fmt.Errorf("review: %q is no format of an export: csv, geojson, tum or parquet", f)
	}
	if err := x.run(a, r, nil); err != nil {
		return nil, err
	}
	return out, b.Flush()
}

// exporter goes through the judged poses of a session.
type exporter struct {
	out   *Exported
	seen  []posed
	line  []byte
	write func(vehicle int, s *watchdog.Snapshot, t float64)
}

// posed is the newest pose seen judged.
type posed struct {
	any   bool
	stamp int64
}

// run steps through the session; each, where not nil, is shown every step of
// the vehicles that are exported, after its pose.
func (x *exporter) run(a *again, r *trail.Reader, each func(*step)) error {
	a.each = func(s step) error {
		if !slices.Contains(x.out.Vehicles, a.meta.Vehicles[s.vehicle]) {
			return nil
		}
		if s.item.Kind == uint8(watchdog.EvPose) {
			x.pose(&s)
		}
		if each != nil {
			each(&s)
		}
		return nil
	}
	same, err := a.run(r)
	if err != nil {
		return err
	}
	x.out.Same, x.out.First = same.Same, same.First
	return nil
}

func (x *exporter) pose(s *step) {
	snap := s.guard.Figures()
	p := &x.seen[s.vehicle]
	if !snap.Judged || p.any && p.stamp == snap.Pose.Stamp {
		return
	}
	p.any, p.stamp = true, snap.Pose.Stamp
	if snap.Void {
		x.out.Void++
		return
	}
	x.out.Poses++
	x.write(s.vehicle, &snap, s.item.At.Seconds())
}

const (
	csvHead = "t_ns,x,y,z,qw,qx,qy,qz,speed,tilt,clearance,level\n"
	tumHead = "# site frame, metres\n# timestamp tx ty tz qx qy qz qw\n"
)

// appendNumber writes v so that it reads back to the same bits; nothing where
// it is not known.
func appendNumber(b []byte, v float64, known bool) []byte {
	if !known || math.IsNaN(v) || math.IsInf(v, 0) {
		return b
	}
	return strconv.AppendFloat(b, v, 'g', -1, 64)
}

func appendCSV(b []byte, s *watchdog.Snapshot) []byte {
	p := &s.Pose
	b = strconv.AppendInt(b, p.Stamp, 10)
	q := &p.Orientation
	for _, v := range [...]float64{p.Position.X, p.Position.Y, p.Position.Z, q.W, q.X, q.Y, q.Z} {
		b = appendNumber(append(b, ','), v, true)
	}
	b = appendNumber(append(b, ','), s.Speed, p.HasVelocity)
	b = appendNumber(append(b, ','), p.Tilt*180/math.Pi, true)
	b = appendNumber(append(b, ','), s.Nearest.Clearance, true)
	return append(append(append(b, ','), s.Level.String()...), '\n')
}

func appendTUM(b []byte, p *pose.Pose) []byte {
	b = fmt.Appendf(b, "%d.%09d", p.Stamp/1e9, p.Stamp%1e9)
	q := &p.Orientation
	for _, v := range [...]float64{p.Position.X, p.Position.Y, p.Position.Z, q.X, q.Y, q.Z, q.W} {
		b = appendNumber(append(b, ' '), v, true)
	}
	return append(b, '\n')
}
