package receiver

import "testing"

// A permit that ran out stays so, wherever the vehicle's clock goes after that: a
// wall clock that is set back, a counter that wraps and comes to the same count
// again. Each of these gave the last permit its validity a second time.
func TestPermitThatRanOutStaysSo(t *testing.T) {
	for name, away := range map[string]int64{
		"ran out":                  251 * ms,
		"its stamp lay ahead":      -10 * ms,
		"the clock left any range": 1 << 62,
	} {
		b := underWay(t, Options{})
		at := b.now
		b.now = at + away
		if v := b.r.MayMove(b.now); v.Go {
			t.Fatalf("%s: %+v", name, v)
		}
		b.now = at + 1
		if v := b.r.MayMove(b.now); v.Go {
			t.Errorf("%s, and the clock came back: the vehicle may move by a permit that is over", name)
		}
		b.say("a", true)
		b.want("go", "")
	}
}

// While it holds, a clock that is set back makes it no younger.
func TestPermitGrowsNoYounger(t *testing.T) {
	b := underWay(t, Options{})
	b.now += 200 * ms
	b.want("go", "")
	b.now -= 150 * ms
	b.want("go", "")
	if v := b.r.MayMove(b.now); v.Age != 200*1e6 {
		t.Errorf("it is %v old, want 200ms", v.Age)
	}
	b.now += 50 * ms
	b.want("go", "")
	b.now += 1
	b.want("stop", "too old")
}
