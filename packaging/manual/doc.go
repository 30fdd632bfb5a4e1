// Package manual writes the manual page and a shell's completion from the
// command line's own definition, so that neither can lack a flag.
//
// What may enter: roff, shell, and the sentences only a manual has. What may
// not: what a flag does (its help in package cli says it, once).
package manual
