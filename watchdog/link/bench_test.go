package link

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"pinfold/watchdog/link/mosquittotest"
)

// The benchmarks send a pose of 250 bytes every 5 ms and wait for 100 bytes of
// answer: from this package's Client (reaction), and from a bare client of the
// library that answers in its callback (echo). The two take turns on one broker
// in one run, since times drift; only their ratio means something:
//
//	go test -run xxx -bench . -benchtime 2000x ./watchdog/link

// bare is a client of the library alone, with the options that were found best.
func bare(tb testing.TB, url string) mqtt.Client {
	tb.Helper()
	c := mqtt.NewClient(mqtt.NewClientOptions().AddBroker(strings.Replace(url, "mqtt://", "tcp://", 1)).
		SetClientID("bare-" + uniqueEnding()).SetProtocolVersion(4).SetKeepAlive(keepAlive).SetWriteTimeout(writeTimeout))
	done(tb, c.Connect())
	tb.Cleanup(func() { c.Disconnect(50) })
	return c
}

func done(tb testing.TB, token mqtt.Token) {
	tb.Helper()
	if !token.WaitTimeout(5*time.Second) || token.Error() != nil {
		tb.Fatalf("the bare client: %v", token.Error())
	}
}

// answering starts a Client that answers poses the way the daemon does: an
// inbox, a loop, a slot.
func answering(b *testing.B, url string) {
	p := joined(b, url, nil, "r/pose")
	s := p.slot(b, "r/command", 0, false)
	answer := make([]byte, 100)
	stop := make(chan struct{})
	ended := make(chan struct{})
	b.Cleanup(func() { close(stop); <-ended })
	go func() {
		defer close(ended)
		var m Message
		for {
			select {
			case <-p.in.Ready():
			case <-stop:
				return
			}
			for p.in.Take(&m) {
				s.Put(answer, sinceStart()+50*time.Millisecond)
			}
		}
	}()
}

func echoing(b *testing.B, url string) {
	c := bare(b, url)
	answer := make([]byte, 100)
	done(b, c.Subscribe("e/pose", 0, func(c mqtt.Client, _ mqtt.Message) { c.Publish("e/command", 0, false, answer) }))
}

func BenchmarkReaction(b *testing.B) {
	b.Run("mosquitto", func(b *testing.B) { react(b, mosquittotest.Start(b).URL) })
	b.Run("embedded", func(b *testing.B) { react(b, embedded(b).url) })
}

func react(b *testing.B, url string) {
	answering(b, url)
	echoing(b, url)
	vehicle := bare(b, url)
	heard := make(chan struct{}, 1)
	for _, topic := range []string{"r/command", "e/command"} {
		done(b, vehicle.Subscribe(topic, 0, func(mqtt.Client, mqtt.Message) { heard <- struct{}{} }))
	}
	pose := make([]byte, 250)
	var took [2][]time.Duration
	pace := time.NewTicker(5 * time.Millisecond)
	defer pace.Stop()
	for i := 0; b.Loop(); i++ {
		for turn := range 2 {
			which := (i + turn) % 2 // neither is always the first
			<-pace.C
			before := time.Now()
			vehicle.Publish([]string{"r/pose", "e/pose"}[which], 0, false, pose)
			select {
			case <-heard:
			case <-time.After(5 * time.Second):
				b.Fatal("no answer")
			}
			took[which] = append(took[which], time.Since(before))
		}
	}
	b.ReportMetric(0, "ns/op") // the pace, not a result
	for _, q := range []float64{0.5, 0.99, 0.999} {
		r, e := quantile(took[0], q), quantile(took[1], q)
		name := strings.TrimSuffix(fmt.Sprintf("p%.1f", q*100), ".0")
		b.ReportMetric(float64(r.Microseconds()), name+"-reaction-µs")
		b.ReportMetric(float64(e.Microseconds()), name+"-echo-µs")
		b.ReportMetric(float64(r)/float64(e), name+"-ratio")
	}
}

func quantile(d []time.Duration, q float64) time.Duration {
	slices.Sort(d)
	return d[min(int(q*float64(len(d))), len(d)-1)]
}

func BenchmarkInbox(b *testing.B) {
	in, payload := mustInbox(b), make([]byte, 250)
	var m Message
	b.ReportAllocs()
	for b.Loop() {
		in.put(0, "pinfold/wren/pose", payload, false, 0)
		in.Take(&m)
	}
}
