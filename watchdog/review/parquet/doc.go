// Package parquet writes flat tables as Apache Parquet files: columns of whole
// numbers, floating point numbers and texts, plain pages compressed by zstd, no
// statistics. By the format's definition (apache/parquet-format: README.md,
// Encodings.md, parquet.thrift) and Thrift's compact protocol
// (apache/thrift, doc/specs/thrift-compact-protocol.md).
//
// It is our own, and not a library, for the program's size: parquet-go is 5.4 MB
// in a program of 18.4 MB, this is under 0.1 MB. The tests read what it writes with
// parquet-go, which shares no code with it, and is not in the program.
//
// What may enter: what it takes to write a flat table. What may not: reading,
// nesting, what the columns mean. It imports nothing of this module.
package parquet
