package judge

import (
	"math"
	"strings"
	"testing"
	"time"
)

// Speeds in and beside a box, by hand.
func TestSlow(t *testing.T) {
	j, err := NewSlow(Body{0.5, 0.1, 0.2}, box("stair head", 0, 0, 4, 4), 0.4)
	if err != nil {
		t.Fatal(err)
	}
	if j.Verdict().Kept() {
		t.Error("what was not looked at was kept")
	}
	j.Look(1*time.Second, Point{-1, 2, 1}, 3)   // beside it
	j.Look(2*time.Second, Point{-0.5, 2, 1}, 3) // its rim on the line
	j.Look(3*time.Second, Point{2, 2, 3.2}, 3)  // over it: its ceiling is at 3 m
	j.Look(4*time.Second, Point{2, 2, 1}, 0.4)
	if v := j.Verdict(); !v.Kept() || v.Looks != 4 || v.Inside != 1 || v.Worst != 0.4 || v.At != 4*time.Second {
		t.Errorf("%+v", v)
	}
	j.Look(5*time.Second, Point{-0.4, 2, 1}, 0.5) // its rim inside
	if v := j.Verdict(); v.Kept() || v.Over != 1 || v.Worst != 0.5 || v.At != 5*time.Second {
		t.Errorf("%+v", v)
	}
	j.Look(6*time.Second, Point{math.NaN(), 2, 1}, 0.5)
	j.Look(7*time.Second, Point{2, 2, 1}, math.NaN())
	if v := j.Verdict(); v.Over != 3 || !math.IsInf(v.Worst, 1) {
		t.Errorf("what is not a number is fine: %+v", v)
	}
}

func TestNewSlowRefuses(t *testing.T) {
	good := box("stair head", 0, 0, 4, 4)
	for want, err := range map[string]error{
		"no speed limit":   second(NewSlow(Body{}, good, math.NaN())),
		"-1 is no body":    second(NewSlow(Body{Above: -1}, good, 1)),
		"ring of 0 corner": second(NewSlow(Body{}, Region{Ceiling: 1}, 1)),
	} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("got %v, wanted %q", err, want)
		}
	}
}

func second(_ *Slow, err error) error { return err }
