// Command footprint measures what the guard costs a board: it runs the program
// as it is shipped, on vehicles whose poses it publishes itself, and reads the
// kernel's own accounts of that process.
//
//	go run ./packaging/footprint --minutes 10
//	go run ./packaging/footprint --minutes 2 --vehicles 10
//
// What may enter: measuring. What may not: anything else that needs a figure to
// be true.
package main
