package parquet

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"

	"github.com/klauspost/compress/zstd"
)

// Type is what a column holds. The zero value is none.
type Type uint8

// Types of a column.
const (
	Int   Type = 1 + iota // 64 bits, signed
	Float                 // 64 bits, IEEE 754
	Text                  // UTF-8
)

// Column is one column of a table.
type Column struct {
	Name     string
	Type     Type
	Optional bool // a row may have no value in it
}

// Pair is one thing that the file says about itself as a whole.
type Pair struct{ Key, Value string }

// GroupRows is how many rows stand in one row group, so how many a Writer holds.
const GroupRows = 1 << 16

const magic = "PAR1" // at both ends of a file

// Writer writes one table, row by row. Its first error stays: every later call
// gives it again.
type Writer struct {
	out    io.Writer
	enc    *zstd.Encoder
	cols   []column
	about  []Pair
	groups []group
	off    int64 // bytes written
	rows   int   // of the group being filled
	packed []byte
	err    error
}

// column gathers the values of one column of the group being filled.
type column struct {
	Column
	values []byte // plain
	known  []bool // of each row, whether it has a value; of optional columns only
	n      int    // rows
}

// group is what the footer says of a row group.
type group struct {
	rows   int
	chunks []chunk
}

// chunk is where a column of a group stands; plain and packed are its sizes with
// the page's header, bytes.
type chunk struct{ off, plain, packed int64 }

// New begins a table on w. Names must be there, and each once.
func New(w io.Writer, cols []Column, about ...Pair) (*Writer, error) {
	seen := map[string]bool{}
	p := &Writer{out: w, about: about}
	for _, c := range cols {
		if c.Name == "" || seen[c.Name] || c.Type < Int || c.Type > Text {
			return nil, fmt.Errorf("parquet: column %q of type %d: a column needs a type, and a name of its own", c.Name, c.Type)
		}
		seen[c.Name] = true
		p.cols = append(p.cols, column{Column: c})
	}
	if len(cols) == 0 {
		return nil, errors.New("parquet: a table needs a column")
	}
	var err error
	if p.enc, err = zstd.NewWriter(nil, zstd.WithEncoderConcurrency(1)); err != nil {
		return nil, fmt.Errorf("parquet: zstd: %w", err)
	}
	p.write([]byte(magic))
	return p, p.err
}

// Int puts a value into a column of the row.
func (p *Writer) Int(col int, v int64) {
	if c := p.next(col, Int, true); c != nil {
		c.values = binary.LittleEndian.AppendUint64(c.values, uint64(v))
	}
}

// Float puts a value into a column of the row.
func (p *Writer) Float(col int, v float64) {
	if c := p.next(col, Float, true); c != nil {
		c.values = binary.LittleEndian.AppendUint64(c.values, math.Float64bits(v))
	}
}

// Text puts a value into a column of the row.
func (p *Writer) Text(col int, v string) {
	if c := p.next(col, Text, true); c != nil {
		c.values = binary.LittleEndian.AppendUint32(c.values, uint32(len(v)))
		c.values = append(c.values, v...)
	}
}

// Null says that the row has no value in an optional column.
func (p *Writer) Null(col int) {
	if p.err == nil && (col < 0 || col >= len(p.cols) || !p.cols[col].Optional) {
		p.err = fmt.Errorf("parquet: column %d is not optional, or there is none", col)
		return
	}
	if p.err == nil {
		p.next(col, p.cols[col].Type, false)
	}
}

// next is the column that the row's value goes into; nil where it cannot.
func (p *Writer) next(col int, t Type, known bool) *column {
	switch {
	case p.err != nil:
		return nil
	case col < 0 || col >= len(p.cols) || p.cols[col].Type != t:
		p.err = fmt.Errorf("parquet: there is no column %d of type %d", col, t)
		return nil
	case p.cols[col].n != p.rows:
		p.err = fmt.Errorf("parquet: the row has two values in column %q", p.cols[col].Name)
		return nil
	}
	c := &p.cols[col]
	c.n++
	if c.Optional {
		c.known = append(c.known, known)
	}
	return c
}

// Row ends a row.
func (p *Writer) Row() error {
	p.rows++
	for i := range p.cols {
		if c := &p.cols[i]; p.err == nil && c.n != p.rows {
			p.err = fmt.Errorf("parquet: the row has no value in column %q", c.Name)
		}
	}
	if p.err == nil && p.rows == GroupRows {
		p.flush()
	}
	return p.err
}

// Close writes what is left and the footer. It does not close what it writes to.
func (p *Writer) Close() error {
	for i := range p.cols {
		if c := &p.cols[i]; p.err == nil && c.n != p.rows {
			p.err = fmt.Errorf("parquet: closed within a row: column %q has a value more", c.Name)
		}
	}
	if p.rows > 0 {
		p.flush()
	}
	foot := p.footer()
	foot = binary.LittleEndian.AppendUint32(foot, uint32(len(foot)))
	p.write(append(foot, magic...))
	if p.err == nil {
		p.err = p.enc.Close()
		defer func() { p.err = errors.New("parquet: closed") }()
	}
	return p.err
}

// flush writes the group that was filled, a page a column.
func (p *Writer) flush() {
	if p.err != nil {
		return
	}
	g := group{rows: p.rows}
	for i := range p.cols {
		c := &p.cols[i]
		page := c.values
		if c.Optional {
			page = append(levels(c.known), c.values...)
		}
		p.packed = p.enc.EncodeAll(page, p.packed[:0])
		head := pageHeader(c.n, len(page), len(p.packed))
		g.chunks = append(g.chunks, chunk{off: p.off, plain: int64(len(head) + len(page)), packed: int64(len(head) + len(p.packed))})
		p.write(head)
		p.write(p.packed)
		c.values, c.known, c.n = c.values[:0], c.known[:0], 0
	}
	p.groups = append(p.groups, g)
	p.rows = 0
}

func (p *Writer) write(b []byte) {
	if p.err != nil {
		return
	}
	var n int
	n, p.err = p.out.Write(b)
	p.off += int64(n)
}

// levels are the definition levels of a page: runs of 1 where there is a value
// and 0 where there is none, their size in front (Encodings.md, RLE, bit width 1).
func levels(known []bool) []byte {
	b := make([]byte, 4, 64)
	for from := 0; from < len(known); {
		to := from + 1
		for to < len(known) && known[to] == known[from] {
			to++
		}
		b = binary.AppendUvarint(b, uint64(to-from)<<1)
		if known[from] {
			b = append(b, 1)
		} else {
			b = append(b, 0)
		}
		from = to
	}
	binary.LittleEndian.PutUint32(b, uint32(len(b)-4))
	return b
}
