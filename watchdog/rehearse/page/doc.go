// Package page makes of a rehearsal's report one page that opens offline, prints
// on paper and can be read in black and white: what was shown of every edge and
// limit, where the vehicles came to rest, which declared number is the weak one.
//
// What may enter: the page and its pictures. What may not: runs, files, numbers
// that are not in the report.
package page
