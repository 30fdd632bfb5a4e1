// Package watchdog is the decision core: (state, event, now) to effects. No goroutine, clock, file or logger lives here.
package watchdog
