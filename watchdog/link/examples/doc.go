// Package examples holds the vehicle's half in other languages than Go, and the
// tests that hold it against the receiver package.
//
// What may enter: examples that people copy, each complete in one file. What
// may not: code that anything imports.
package examples
