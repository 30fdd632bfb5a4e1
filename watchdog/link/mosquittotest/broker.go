package mosquittotest

import (
	"testing"

	"pinfold/watchdog/link/brokerproc"
)

// Broker is a running mosquitto.
type Broker struct {
	URL string // mqtt://127.0.0.1:port, the same after Restart

	Process *brokerproc.Process

	tb testing.TB
}

// Start runs mosquitto until the test ends. lines are added to its
// configuration; without any, everybody may do everything.
func Start(tb testing.TB, lines ...string) *Broker {
	tb.Helper()
	if brokerproc.Find() == "" {
		tb.Skip("mosquitto is not installed; install it (Debian: apt-get install mosquitto) to run this test")
	}
	addr := FreeAddr(tb)
	argv, err := brokerproc.Mosquitto(tb.TempDir(), addr, lines...)
	if err != nil {
		tb.Fatal(err)
	}
	p, err := brokerproc.Start(addr, argv)
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(p.Kill)
	return &Broker{URL: p.URL, Process: p, tb: tb}
}

// FreeAddr is brokerproc's.
func FreeAddr(tb testing.TB) string {
	tb.Helper()
	addr, err := brokerproc.FreeAddr()
	if err != nil {
		tb.Fatal(err)
	}
	return addr
}

// Kill ends the process at once (SIGKILL). It does nothing to a dead one.
func (b *Broker) Kill() { b.Process.Kill() }

// Restart starts it again on the same port, killing it first where it lives.
func (b *Broker) Restart() { b.must(b.Process.Restart()) }

// Stop freezes the process (SIGSTOP): its connections stay open and silent.
func (b *Broker) Stop() { b.must(b.Process.Stop()) }

// Cont lets a frozen process go on (SIGCONT).
func (b *Broker) Cont() { b.must(b.Process.Cont()) }

func (b *Broker) must(err error) {
	b.tb.Helper()
	if err != nil {
		b.tb.Fatal(err)
	}
}
