// Package console serves the page in the browser, metrics and health from snapshots.
package console
