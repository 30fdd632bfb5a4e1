// Package sim has vehicles, trackers with errors, faults and the judge that never imports the code it judges.
package sim
