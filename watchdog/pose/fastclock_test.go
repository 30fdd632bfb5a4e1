package pose

import (
	"fmt"
	"strings"
	"testing"
	"time"
)

// trustTrack is a track that watches its clock and for frozen poses.
func trustTrack(t *testing.T) *Track {
	t.Helper()
	tr, err := NewTrack(Config{MaxAge: 100 * time.Millisecond, MaxLate: 100 * time.Millisecond,
		FrozenAfter: 200 * time.Millisecond, MaxClockStep: 100 * time.Millisecond, Settle: 500 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	return tr
}

// A sender's clock that runs fast makes a vehicle look slow: its stamps must
// not run away from local time, in steps however small.
func TestFastSenderClockIsNoticed(t *testing.T) {
	for _, c := range []struct {
		pace float64 // of the sender's clock
		leap time.Duration
		most time.Duration // until it is noticed; 0: never
	}{
		{pace: 1}, {pace: 1.0001}, {pace: 0.9999},
		{pace: 1.1, most: 1100 * time.Millisecond}, {pace: 3, most: 100 * time.Millisecond}, {pace: 10, most: 50 * time.Millisecond},
		{pace: 1, leap: 90 * time.Millisecond, most: 1100 * time.Millisecond},
	} {
		t.Run(fmt.Sprintf("%gx+%v", c.pace, c.leap), func(t *testing.T) {
			tr := trustTrack(t)
			var p Pose
			ahead := time.Duration(0)
			for i := 0; i < 12000; i++ { // a minute
				now := time.Duration(i) * 5 * time.Millisecond
				if c.leap > 0 && i%100 == 99 {
					ahead += c.leap
				}
				s := Sample{Stamp: int64(c.pace*float64(now)) + int64(ahead), Orientation: Quat{W: 1}, Position: Vec{X: 1e-6 * float64(i%7)}}
				if f := tr.Accept(&s, now, now, &p); f != nil {
					t.Fatal(f)
				}
				if tr.Distrust(now).Has(ClockStep) {
					if c.most == 0 || now > c.most {
						t.Fatalf("noticed after %v, want %v (0: never)", now, c.most)
					}
					return
				}
			}
			if c.most > 0 {
				t.Error("never noticed")
			}
		})
	}
}

// A tracker that loses its place and keeps its balance repeats the position to
// the last bit and lets the orientation live.
func TestFrozenPositionWithALivingOrientationIsNoticed(t *testing.T) {
	tr := trustTrack(t)
	var p Pose
	for i := 0; i < 400; i++ {
		now := time.Duration(i) * 5 * time.Millisecond
		s := Sample{Stamp: int64(now), Orientation: FromEuler(1e-4*float64(i%5), 0, 0), Position: Vec{X: 1}}
		if f := tr.Accept(&s, now, now, &p); f != nil {
			t.Fatal(f)
		}
		frozen := tr.Distrust(now).Has(Frozen)
		if want := now > 400*time.Millisecond; frozen != want {
			t.Fatalf("at %v frozen is %v", now, frozen)
		}
	}
}

// A stamp that no permit could carry back is refused, so that no later one is
// measured against it.
func TestStampBeyondTheWireIsRefused(t *testing.T) {
	d, err := NewDecoder(DefaultFields())
	if err != nil {
		t.Fatal(err)
	}
	const text = `{"stamp":STAMP,"seq":1,"position":{"x":1,"y":1,"z":1},"orientation":{"w":1,"x":0,"y":0,"z":0}}`
	for stamp, fine := range map[string]bool{"4611686018": true, "4611686018.000000001": false,
		"-4611686019": false, "9223372036.854775807": false} {
		var s Sample
		f := d.Decode([]byte(strings.Replace(text, "STAMP", stamp, 1)), &s)
		if (f == nil) != fine || f != nil && f.Kind != OutOfRange {
			t.Errorf("stamp %s: %v", stamp, f)
		}
	}
}
