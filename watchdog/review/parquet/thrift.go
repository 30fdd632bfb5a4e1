package parquet

import "encoding/binary"

// Kinds of a field or an element in Thrift's compact protocol.
const (
	kindI32    = 5
	kindI64    = 6
	kindBinary = 8
	kindList   = 9
	kindStruct = 12
)

// thrift writes one struct in Thrift's compact protocol. Fields must come with
// rising numbers, no further than 15 apart.
type thrift struct {
	b     []byte
	last  int   // number of the last field of the struct being written
	outer []int // those of the structs it stands in
}

func (t *thrift) field(id int, kind byte) {
	t.b = append(t.b, byte(id-t.last)<<4|kind)
	t.last = id
}

// number writes a field of kindI32 or kindI64.
func (t *thrift) number(id int, kind byte, v int64) {
	t.field(id, kind)
	t.varint(v)
}

func (t *thrift) text(id int, s string) {
	t.field(id, kindBinary)
	t.bytes(s)
}

// list begins a list of n elements, which follow.
func (t *thrift) list(id int, kind byte, n int) {
	t.field(id, kindList)
	if n < 15 {
		t.b = append(t.b, byte(n)<<4|kind)
		return
	}
	t.b = binary.AppendUvarint(append(t.b, 0xf0|kind), uint64(n))
}

// begin begins a struct that is a field; end ends it.
func (t *thrift) begin(id int) {
	t.field(id, kindStruct)
	t.element()
}

// element begins a struct that is an element of a list.
func (t *thrift) element() { t.outer, t.last = append(t.outer, t.last), 0 }

// end ends the struct begun last, or the outermost.
func (t *thrift) end() {
	t.b = append(t.b, 0)
	if n := len(t.outer); n > 0 {
		t.last, t.outer = t.outer[n-1], t.outer[:n-1]
	}
}

// varint writes v as zigzag and base 128, as AppendVarint does.
func (t *thrift) varint(v int64) { t.b = binary.AppendVarint(t.b, v) }

func (t *thrift) bytes(s string) {
	t.b = append(binary.AppendUvarint(t.b, uint64(len(s))), s...)
}
