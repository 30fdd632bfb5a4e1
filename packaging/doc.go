// Command packaging builds what is installed on a board: a static program for
// each processor and a Debian package of each, with the manual page and the
// shell's completion, both written from the command line's own definition.
//
//	go run ./packaging --out dist             # all of them
//	go run ./packaging --out dist --arch arm64
//
// What may enter: building, packing, and the files only a package has. What may
// not: anything the program itself needs to run.
package main
