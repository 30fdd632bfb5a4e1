package parquet

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	reader "github.com/parquet-go/parquet-go"
)

// row is what the tests write, and what the outside reader gives back; the
// columns stand in the order of names, as that reader keeps them.
type row struct {
	A int64    `parquet:"a"`
	B float64  `parquet:"b"`
	C *float64 `parquet:"c"`
	D string   `parquet:"d"`
	E *int64   `parquet:"e"`
	F *string  `parquet:"f"`
}

var table = []Column{{"a", Int, false}, {"b", Float, false}, {"c", Float, true}, {"d", Text, false}, {"e", Int, true}, {"f", Text, true}}

// written is n rows as a file; a value of an optional column is there with the
// chance of its own in hundredths.
func written(t *testing.T, n int, chance [3]int) (file []byte, rows []row) {
	t.Helper()
	rng := rand.New(rand.NewPCG(uint64(n), 5))
	var b bytes.Buffer
	p, err := New(&b, table, Pair{"frame", "metres"}, Pair{"session", "s1"})
	if err != nil {
		t.Fatal(err)
	}
	for i := range n {
		r := row{A: rng.Int64() - rng.Int64(), B: math.Float64frombits(rng.Uint64()), D: strings.Repeat("ä\x00x", rng.IntN(3))}
		p.Int(0, r.A)
		p.Float(1, r.B)
		p.Text(3, r.D) // in any order
		if rng.IntN(100) < chance[0] {
			r.C = new(float64(i) / 3)
			p.Float(2, *r.C)
		} else {
			p.Null(2)
		}
		if rng.IntN(100) < chance[1] {
			r.E = new(int64(i))
			p.Int(4, *r.E)
		} else {
			p.Null(4)
		}
		if rng.IntN(100) < chance[2] {
			r.F = new(fmt.Sprint(i))
			p.Text(5, *r.F)
		} else {
			p.Null(5)
		}
		if err := p.Row(); err != nil {
			t.Fatal(err)
		}
		rows = append(rows, r)
	}
	if err := p.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes(), rows
}

// key is a row by its bits, so that NaN equals itself.
func (r row) key() string {
	c, e, f := "-", "-", "-"
	if r.C != nil {
		c = fmt.Sprint(math.Float64bits(*r.C))
	}
	if r.E != nil {
		e = fmt.Sprint(*r.E)
	}
	if r.F != nil {
		f = *r.F
	}
	return fmt.Sprintf("%d %d %s %q %s %q", r.A, math.Float64bits(r.B), c, r.D, e, f)
}

// What is written is read by parquet-go (github.com/parquet-go/parquet-go), which
// shares no code with the writer: every value to its last bit, none and all of an
// optional column missing, no row, one, and more than one group.
func TestAnotherReaderReadsTheSame(t *testing.T) {
	for _, c := range []struct {
		rows   int
		chance [3]int
	}{{0, [3]int{}}, {1, [3]int{100, 0, 50}}, {1000, [3]int{0, 100, 50}}, {GroupRows, [3]int{99, 1, 50}}, {2*GroupRows + 77, [3]int{50, 99, 1}}} {
		file, want := written(t, c.rows, c.chance)
		f, err := reader.OpenFile(bytes.NewReader(file), int64(len(file)))
		if err != nil {
			t.Fatalf("%d rows: %v", c.rows, err)
		}
		got, err := reader.Read[row](bytes.NewReader(file), int64(len(file)))
		if err != nil || len(got) != len(want) || f.NumRows() != int64(len(want)) {
			t.Fatalf("%d rows: read %d, the footer says %d: %v", c.rows, len(got), f.NumRows(), err)
		}
		for i := range want {
			if got[i].key() != want[i].key() {
				t.Fatalf("row %d of %d: read %s, want %s", i, c.rows, got[i].key(), want[i].key())
			}
		}
		if n := (c.rows + GroupRows - 1) / GroupRows; len(f.RowGroups()) != n {
			t.Errorf("%d rows in %d groups, want %d", c.rows, len(f.RowGroups()), n)
		}
		if v, ok := f.Lookup("frame"); !ok || v != "metres" {
			t.Errorf("frame: %q, %v", v, ok)
		}
		sizes(t, f, int64(len(file)))
	}
}

// sizes holds the footer's sizes against the file: chunks stand one behind the
// other, with nothing between them.
func sizes(t *testing.T, f *reader.File, size int64) {
	t.Helper()
	at := int64(len(magic))
	for _, g := range f.Metadata().RowGroups {
		if g.FileOffset != at {
			t.Errorf("a group says it begins at %d, not at %d", g.FileOffset, at)
		}
		packed, plain := int64(0), int64(0)
		for i := range g.Columns {
			c := &g.Columns[i].MetaData
			if c.DataPageOffset != at {
				t.Errorf("column %v begins at %d, not at %d", c.PathInSchema, c.DataPageOffset, at)
			}
			at, packed, plain = at+c.TotalCompressedSize, packed+c.TotalCompressedSize, plain+c.TotalUncompressedSize
		}
		if packed != g.TotalCompressedSize || plain != g.TotalByteSize {
			t.Errorf("a group of %d bytes, %d plain, says %d and %d", packed, plain, g.TotalCompressedSize, g.TotalByteSize)
		}
	}
	if at >= size {
		t.Errorf("the chunks end at %d of %d bytes", at, size)
	}
}

// A table wider than a short list of Thrift's compact protocol (15) is read too.
func TestWideTable(t *testing.T) {
	var cols []Column
	for i := range 40 {
		cols = append(cols, Column{Name: fmt.Sprintf("c%02d", i), Type: Int})
	}
	var b bytes.Buffer
	p, err := New(&b, cols)
	if err != nil {
		t.Fatal(err)
	}
	for i := range cols {
		p.Int(i, int64(i))
	}
	if err := errors.Join(p.Row(), p.Close()); err != nil {
		t.Fatal(err)
	}
	f, err := reader.OpenFile(bytes.NewReader(b.Bytes()), int64(b.Len()))
	if err != nil || len(f.Schema().Columns()) != len(cols) {
		t.Fatalf("%v", err)
	}
	rows := make([]reader.Row, 1)
	if n, err := f.RowGroups()[0].Rows().ReadRows(rows); n != 1 || err != nil && !errors.Is(err, io.EOF) || rows[0][39].Int64() != 39 {
		t.Errorf("%d rows, %v: %v", n, err, rows)
	}
}

func TestRowsThatDoNotFitAreRefused(t *testing.T) {
	for what, c := range map[string]struct {
		fill func(p *Writer)
		want string
	}{
		"missing":    {func(p *Writer) { p.Int(0, 1) }, `no value in column "b"`},
		"twice":      {func(p *Writer) { p.Int(0, 1); p.Int(0, 2) }, `two values in column "a"`},
		"other type": {func(p *Writer) { p.Float(0, 1) }, "no column 0 of type"},
		"no column":  {func(p *Writer) { p.Text(9, "") }, "no column 9"},
		"not null":   {func(p *Writer) { p.Null(0) }, "not optional"},
	} {
		p, err := New(io.Discard, table)
		if err != nil {
			t.Fatal(err)
		}
		c.fill(p)
		if err := p.Row(); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", what, err, c.want)
		}
		if err := p.Close(); err == nil {
			t.Errorf("%s: closed as if it were whole", what)
		}
	}
	p, _ := New(io.Discard, table)
	p.Int(0, 1)
	if err := p.Close(); err == nil || !strings.Contains(err.Error(), "within a row") {
		t.Errorf("closed within a row: %v", err)
	}
	for _, cols := range [][]Column{nil, {{"a", 0, false}}, {{"", Int, false}}, {{"a", Int, false}, {"a", Text, false}}} {
		if _, err := New(io.Discard, cols); err == nil {
			t.Errorf("taken: %v", cols)
		}
	}
}

type full struct{ left int }

func (f *full) Write(b []byte) (int, error) {
	if f.left -= len(b); f.left < 0 {
		return 0, io.ErrShortWrite
	}
	return len(b), nil
}

func TestAFullDiskIsSaid(t *testing.T) {
	for left := range 200 {
		p, err := New(&full{left}, []Column{{"a", Int, false}})
		if err == nil {
			p.Int(0, 1)
			err = errors.Join(p.Row(), p.Close())
		}
		if !errors.Is(err, io.ErrShortWrite) {
			if left < 100 {
				t.Errorf("%d bytes of room: %v", left, err)
			}
			return
		}
	}
	t.Error("200 bytes do not hold one number")
}
