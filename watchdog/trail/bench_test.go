package trail

import (
	"fmt"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"
)

// BenchmarkIntake is what an item costs its giver. The writer works beside it;
// what it cannot keep up with at this rate is lost and reported.
func BenchmarkIntake(b *testing.B) {
	w := mustCreate(b, benchOptions(b))
	it := Item{Vehicle: 1, Kind: 2, Payload: benchPose(1)}
	b.ReportAllocs()
	for b.Loop() {
		it.At += time.Microsecond
		w.Intake(&it)
	}
	b.StopTimer()
	lost := w.Status().Lost
	w.Close(time.Minute)
	b.ReportMetric(100*float64(lost)/float64(b.N), "%lost")
}

// BenchmarkEvent is what a record costs its giver, the encoding included.
func BenchmarkEvent(b *testing.B) {
	w := mustCreate(b, benchOptions(b))
	body := episode{Worst: 1.5, Limit: 2.8}
	b.ReportAllocs()
	for b.Loop() {
		w.Event("wren", "episode", time.Second, body)
	}
	b.StopTimer()
	w.Close(time.Minute)
}

// BenchmarkHour writes an hour of one vehicle at 200 Hz as fast as it goes, with
// every second its own frame, and says how many bytes the folder holds. Then it is
// verified.
func BenchmarkHour(b *testing.B) {
	for b.Loop() {
		o := benchOptions(b)
		w := mustCreate(b, o)
		for s := range 3600 {
			for i := range 200 {
				n := s*200 + i
				at := time.Duration(n) * 5 * time.Millisecond
				w.Intake(&Item{Kind: 2, At: at, Arrived: at, Payload: benchPose(n)})
			}
			for waiting(w) > MaxIntake*5/8 { // do not outrun the writer
				time.Sleep(time.Millisecond)
			}
		}
		s, err := w.Close(time.Minute)
		if err != nil || s.Lost > 0 {
			b.Fatalf("%v, %d lost", err, s.Lost)
		}
		begin := time.Now()
		if r, err := Verify(s.Folder, s.Head); err != nil || !r.OK() {
			b.Fatal(err)
		}
		b.ReportMetric(time.Since(begin).Seconds(), "s/verify")
		var n int64
		for _, name := range []string{eventsName, intakeName} {
			if info, err := os.Stat(filepath.Join(s.Folder, name)); err == nil {
				n += info.Size()
			}
		}
		b.ReportMetric(float64(n)/1e6, "MB/hour")
	}
}

// BenchmarkLive writes one vehicle's trail at the pace of a tracker, 200 Hz, to a
// real disk for ten seconds, and says which share of one core that takes by the
// processor time of this process (getrusage): compressing, hashing, signing, writing
// and fsync. A share is not disturbed by what else runs, as a duration is.
func BenchmarkLive(b *testing.B) {
	const seconds = 10
	poses := make([][]byte, seconds*200)
	for i := range poses {
		poses[i] = benchPose(i)
	}
	for b.Loop() {
		w := mustCreate(b, benchOptions(b))
		used, begin := processorTime(b), time.Now()
		for i, p := range poses {
			at := time.Duration(i) * 5 * time.Millisecond
			time.Sleep(time.Until(begin.Add(at)))
			w.Intake(&Item{Kind: 2, At: at, Arrived: at, Payload: p})
			if i%200 == 0 { // more records than a calm session has
				w.Event("wren", "episode", at, episode{Worst: 1.5, Limit: 2.8})
			}
		}
		b.ReportMetric(100*(processorTime(b)-used).Seconds()/time.Since(begin).Seconds(), "%core")
		if s, err := w.Close(time.Minute); err != nil || s.Lost > 0 {
			b.Fatalf("%v, %d lost", err, s.Lost)
		}
	}
}

// processorTime is what this process has used of the processor.
func processorTime(b *testing.B) time.Duration {
	b.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

func waiting(w *Writer) int {
	w.mu.Lock()
	defer w.mu.Unlock()
	return len(w.in.raw)
}

// benchPose is a pose as a tracker sends it, with digits that do not repeat.
func benchPose(n int) []byte {
	x := float64(n*7919%100003) / 9973
	return fmt.Appendf(nil, `{"stamp":%d.%06d,"seq":%d,"position":{"x":%.9f,"y":%.9f,"z":%.9f},"orientation":{"w":%.9f,"x":%.9f,"y":%.9f,"z":%.9f},"confidence":0.98,"tracker":"t1"}`,
		1000+n/200, n%200*5000, n, x, x*x, x/3, x/11, x/7, x/13, x/17)
}

func benchOptions(b *testing.B) Options {
	o := testOptions(b)
	o.FS = nil
	return o
}
