package review

import (
	"bytes"
	"encoding/csv"
	"strconv"
	"strings"
	"testing"
	"time"

	reader "github.com/parquet-go/parquet-go"
)

// parquetRow is a row as a reader of another's making gives it, by the columns'
// names.
type parquetRow struct {
	T         int64    `parquet:"t_ns"`
	X         float64  `parquet:"x"`
	Y         float64  `parquet:"y"`
	Z         float64  `parquet:"z"`
	QW        float64  `parquet:"qw"`
	QX        float64  `parquet:"qx"`
	QY        float64  `parquet:"qy"`
	QZ        float64  `parquet:"qz"`
	Speed     *float64 `parquet:"speed"`
	Tilt      float64  `parquet:"tilt"`
	Clearance *float64 `parquet:"clearance"`
	Level     string   `parquet:"level"`
}

// cells are the row's as the CSV has them.
func (r *parquetRow) cells() []string {
	number := func(v *float64) string {
		if v == nil {
			return ""
		}
		return strconv.FormatFloat(*v, 'g', -1, 64)
	}
	out := []string{strconv.FormatInt(r.T, 10)}
	for _, v := range []*float64{&r.X, &r.Y, &r.Z, &r.QW, &r.QX, &r.QY, &r.QZ, r.Speed, &r.Tilt, r.Clearance} {
		out = append(out, number(v))
	}
	return append(out, r.Level)
}

// The file, read by parquet-go (github.com/parquet-go/parquet-go), holds what the
// CSV holds, cell by cell, whose numbers read back to the last bit.
func TestExportParquetHoldsWhatTheCSVHolds(t *testing.T) {
	folder := session(t, 30*time.Second)
	_, text := exported(t, folder, CSV)
	want, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil || len(want) < 2 {
		t.Fatalf("%d lines: %v", len(want), err)
	}
	x, file := exported(t, folder, Parquet)
	f, err := reader.OpenFile(strings.NewReader(file), int64(len(file)))
	if err != nil {
		t.Fatal(err)
	}
	for i, c := range f.Root().Columns() {
		if c.Name() != want[0][i] {
			t.Errorf("column %d is %s, in the CSV %s", i, c.Name(), want[0][i])
		}
	}
	got, err := reader.Read[parquetRow](bytes.NewReader([]byte(file)), int64(len(file)))
	if err != nil || len(got) != len(want)-1 || x.Poses != uint64(len(got)) {
		t.Fatalf("%d rows, want %d; said %d: %v", len(got), len(want)-1, x.Poses, err)
	}
	for i := range got {
		if a, b := strings.Join(got[i].cells(), ","), strings.Join(want[i+1], ","); a != b {
			t.Fatalf("row %d: %s, the CSV has %s", i, a, b)
		}
	}
	for key, say := range map[string]string{"session": "s1", "vehicle": "mole", "site": "Test hall", "note": "words"} {
		if v, _ := f.Lookup(key); v != say {
			t.Errorf("%s: %q, want %q", key, v, say)
		}
	}
}
