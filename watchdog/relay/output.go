package relay

import "pinfold/watchdog/link/receiver"

// Output is what keeps the motors running, or halts them. It is called from one
// goroutine and must return at once.
type Output interface {
	// Set is called at every turn of the loop, about every Turn, whatever came
	// before. An error says that the output may not be what it was set to.
	Set(v receiver.Verdict) error
	// Close halts and lets go.
	Close() error
}

// Words for the two states of an output.
const (
	Go   = "go"
	Halt = "halt"
)

// word is what a verdict comes to.
func word(v receiver.Verdict) string {
	if v.Go {
		return Go
	}
	return Halt
}
