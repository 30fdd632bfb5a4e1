// Package contract holds what goes over the wire in a form that needs no Go: an
// AsyncAPI 3.0 document and a JSON Schema for each message.
//
// What may enter: descriptions, and tests that hold them against the code. What
// may not: code that anything imports.
package contract
