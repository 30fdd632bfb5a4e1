package review

import (
	"bufio"
	"math"
	"time"

	"pinfold/watchdog"
	"pinfold/watchdog/review/parquet"
	"pinfold/watchdog/trail"
)

// parquetColumns are those of csvHead, in its order.
func parquetColumns() []parquet.Column {
	cols := []parquet.Column{{Name: "t_ns", Type: parquet.Int}}
	for _, name := range [...]string{"x", "y", "z", "qw", "qx", "qy", "qz", "speed", "tilt", "clearance"} {
		cols = append(cols, parquet.Column{Name: name, Type: parquet.Float, Optional: name == "speed" || name == "clearance"})
	}
	return append(cols, parquet.Column{Name: "level", Type: parquet.Text})
}

func writeParquet(a *again, r *trail.Reader, x *exporter, note string, b *bufio.Writer) error {
	p, err := parquet.New(b, parquetColumns(),
		parquet.Pair{Key: "session", Value: a.meta.Session}, parquet.Pair{Key: "site", Value: a.meta.Site},
		parquet.Pair{Key: "vehicle", Value: x.out.Vehicles[0]}, parquet.Pair{Key: "started", Value: a.meta.Started.UTC().Format(time.RFC3339Nano)},
		parquet.Pair{Key: "frame", Value: "metres in the site frame, x and y on the floor, z up; t_ns is the stamp on the sender's clock"},
		parquet.Pair{Key: "note", Value: note})
	if err != nil {
		return err
	}
	x.write = func(_ int, s *watchdog.Snapshot, _ float64) { putParquet(p, s) }
	if err := x.run(a, r, nil); err != nil {
		return err
	}
	if err := p.Close(); err != nil {
		return err
	}
	return b.Flush()
}

// putParquet writes a row; an error of it is told by Close.
func putParquet(p *parquet.Writer, s *watchdog.Snapshot) {
	o, q := &s.Pose.Position, &s.Pose.Orientation
	p.Int(0, s.Pose.Stamp)
	for i, v := range [...]float64{o.X, o.Y, o.Z, q.W, q.X, q.Y, q.Z} {
		p.Float(1+i, v)
	}
	putKnown(p, 8, s.Speed, s.Pose.HasVelocity)
	p.Float(9, s.Pose.Tilt*180/math.Pi)
	putKnown(p, 10, s.Nearest.Clearance, true)
	p.Text(11, s.Level.String())
	_ = p.Row() // stays, and Close gives it again
}

func putKnown(p *parquet.Writer, col int, v float64, known bool) {
	if !known || math.IsNaN(v) || math.IsInf(v, 0) {
		p.Null(col)
		return
	}
	p.Float(col, v)
}
