package mosquittotest

import (
	"testing"

	"pinfold/watchdog/link/brokerproc"
)

// Way is a way to a broker that can be made slow or narrow, or be cut.
type Way = brokerproc.Way

// NewWay makes a way to the broker at url until the test ends.
func NewWay(tb testing.TB, url string) *Way {
	tb.Helper()
	w, err := brokerproc.NewWay(url)
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(w.Close)
	return w
}
