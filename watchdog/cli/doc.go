// Package cli has the commands: one file each, and what they share in printing.
// A command reads flags and files, calls the package that does the work, and
// prints what came of it; exit status 0 is fine, 1 found something, 2 could not
// run, 3 the judgement failed inside (package app).
//
// What may enter: flags, printing, terminals. What may not: judgement, formats.
package cli
