// Package draw draws plans of a site as SVG, to scale, for pages that open
// offline: the frame that places metres on a picture, zones, a ruler.
//
// What may enter: pictures of what is in the site frame, numbers rounded to what
// shows. What may not: what a report is about, files, templates of pages.
package draw
