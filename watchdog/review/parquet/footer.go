package parquet

// Numbers of parquet.thrift.
const (
	codecZstd     = 6
	encodingPlain = 0
	encodingRLE   = 3
	dataPage      = 0
	required      = 0
	optional      = 1
	convertedUTF8 = 0
	version       = 1
)

// physical is the Type of parquet.thrift that a column is stored as.
func (t Type) physical() int64 {
	switch t {
	case Int:
		return 2 // INT64
	case Float:
		return 5 // DOUBLE
	}
	return 6 // BYTE_ARRAY
}

// pageHeader is the PageHeader of a data page.
func pageHeader(values, plain, packed int) []byte {
	var t thrift
	t.number(1, kindI32, dataPage)
	t.number(2, kindI32, int64(plain))
	t.number(3, kindI32, int64(packed))
	t.begin(5) // DataPageHeader
	t.number(1, kindI32, int64(values))
	t.number(2, kindI32, encodingPlain)
	t.number(3, kindI32, encodingRLE)
	t.number(4, kindI32, encodingRLE)
	t.end()
	t.end()
	return t.b
}

// footer is the FileMetaData.
func (p *Writer) footer() []byte {
	var t thrift
	t.number(1, kindI32, version)
	t.list(2, kindStruct, 1+len(p.cols))
	t.element()
	t.text(4, "table")
	t.number(5, kindI32, int64(len(p.cols)))
	t.end()
	for i := range p.cols {
		p.cols[i].describe(&t)
	}
	rows := 0
	for i := range p.groups {
		rows += p.groups[i].rows
	}
	t.number(3, kindI64, int64(rows))
	t.list(4, kindStruct, len(p.groups))
	for i := range p.groups {
		p.describe(&t, &p.groups[i])
	}
	t.list(5, kindStruct, len(p.about))
	for _, a := range p.about {
		t.element()
		t.text(1, a.Key)
		t.text(2, a.Value)
		t.end()
	}
	t.text(6, "pinfold")
	t.end()
	return t.b
}

// describe writes the column's SchemaElement.
func (c *Column) describe(t *thrift) {
	t.element()
	t.number(1, kindI32, c.Type.physical())
	if c.Optional {
		t.number(3, kindI32, optional)
	} else {
		t.number(3, kindI32, required)
	}
	t.text(4, c.Name)
	if c.Type == Text {
		t.number(6, kindI32, convertedUTF8)
		t.begin(10) // LogicalType
		t.begin(1)  // StringType
		t.end()
		t.end()
	}
	t.end()
}

// describe writes the RowGroup.
func (p *Writer) describe(t *thrift, g *group) {
	t.element()
	t.list(1, kindStruct, len(g.chunks))
	plain, packed := int64(0), int64(0)
	for i, c := range g.chunks {
		plain, packed = plain+c.plain, packed+c.packed
		t.element() // ColumnChunk
		t.number(2, kindI64, c.off)
		t.begin(3) // ColumnMetaData
		t.number(1, kindI32, p.cols[i].Type.physical())
		t.list(2, kindI32, 2)
		t.varint(encodingPlain)
		t.varint(encodingRLE)
		t.list(3, kindBinary, 1)
		t.bytes(p.cols[i].Name)
		t.number(4, kindI32, codecZstd)
		t.number(5, kindI64, int64(g.rows))
		t.number(6, kindI64, c.plain)
		t.number(7, kindI64, c.packed)
		t.number(9, kindI64, c.off)
		t.end()
		t.end()
	}
	t.number(2, kindI64, plain)
	t.number(3, kindI64, int64(g.rows))
	t.number(5, kindI64, g.chunks[0].off)
	t.number(6, kindI64, packed)
	t.end()
}
