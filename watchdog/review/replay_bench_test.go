package review

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"testing"
	"time"

	"pinfold/config"
	"pinfold/watchdog/pose/recording"
)

// BenchmarkReplayHour judges an hour at 200 Hz, 720 000 samples of CSV without
// velocity, from the bytes to the episodes. s/hour is the time for all of it,
// reading the part that only reads and checks the samples.
func BenchmarkReplayHour(b *testing.B) {
	const samples = 3600 * 200
	text := hourOfFlight(samples)
	s, err := config.Parse("site.toml", []byte(hourSite), nil)
	if err != nil {
		b.Fatal(err)
	}
	var judged, read time.Duration
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		t := time.Now()
		r, err := recording.NewReader(bytes.NewReader(text), "hour.csv")
		if err != nil {
			b.Fatal(err)
		}
		for n := 0; ; n++ {
			if _, err := r.Next(); errors.Is(err, io.EOF) && n == samples {
				break
			} else if err != nil {
				b.Fatal(err)
			}
		}
		read += time.Since(t)
		t = time.Now()
		if r, err = recording.NewReader(bytes.NewReader(text), "hour.csv"); err != nil {
			b.Fatal(err)
		}
		res, err := Recording(s.Vehicles[0].Config, r)
		if err != nil || res.Samples != samples || len(res.Episodes) != 1 {
			b.Fatalf("%+v, %v", res, err)
		}
		judged += time.Since(t)
	}
	n := float64(b.N)
	b.ReportMetric(judged.Seconds()/n, "s/hour")
	b.ReportMetric(read.Seconds()/n, "s/reading")
	b.ReportMetric(judged.Seconds()/read.Seconds(), "times-reading")
}

// hourOfFlight is a loop flown again and again, 1.2 m/s at most, and once, at the
// end a step over the speed limit.
func hourOfFlight(samples int) []byte {
	var b bytes.Buffer
	b.WriteString("t_ns,x,y,z,qw,qx,qy,qz\n")
	for i := range samples {
		t := float64(i) / 200
		x, y, z := 2*math.Sin(0.5*t), 1.5*math.Sin(t/3+1), 1.2+0.3*math.Sin(t/7)
		if i > samples-50 {
			y += 1.5 * (t - float64(samples-50)/200)
		}
		h := 0.1 * math.Sin(t) / 2
		fmt.Fprintf(&b, "%d,%.10f,%.10f,%.10f,%.10f,0.0000000000,0.0000000000,%.10f\n", i*5_000_000, x, y, z, math.Cos(h), math.Sin(h))
	}
	return b.Bytes()
}

const hourSite = `
[site]
name = "Test hall"
local_rules = "None apply: nothing moves; checked by the test that wrote this"
[broker]
url = "mqtt://127.0.0.1:1883"
[[zone]]
name = "hall"
kind = "keep-in"
floor = 0.0
ceiling = 3.0
polygon = [[-5,-5],[5,-5],[5,5],[-5,5]]
[[zone]]
name = "post"
kind = "keep-out"
floor = 0.0
ceiling = 3.0
polygon = [[4,4],[4.5,4],[4.5,4.5]]
[[vehicle]]
name = "wren"
kind = "multirotor"
radius = 0.2
height = 0.1
[vehicle.pose]
axes = "z-up"
[vehicle.limits]
speed = 1.4
height = 2.5
tilt = 20
[vehicle.stopping]
reaction = "100ms"
deceleration = 3.0
margin = 0.05
`
