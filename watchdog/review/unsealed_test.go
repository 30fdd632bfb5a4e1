package review

import (
	"testing"
	"time"

	"pinfold/watchdog"
	"pinfold/watchdog/trail"
)

// unsealed is a session of one vehicle whose trail holds records at these
// instants, all but the last few compared, and whose intake ends at last.
func unsealed(sealed bool, last time.Duration, left int, at ...time.Duration) *Reproduction {
	a := &again{meta: trail.Meta{Vehicles: []string{"wren"}}, written: map[string][]written{},
		at: map[string]int{"wren": len(at) - left}, last: []time.Duration{last}}
	a.out.Sealed, a.out.Records = sealed, uint64(len(at)-left)
	for i, t := range at {
		a.written["wren"] = append(a.written["wren"], written{kind: "level", at: t, line: uint64(i + 1)})
	}
	return a.finish()
}

// Only what stands after the end of an unsealed session's intake is let pass.
func TestRecordsBeyondTheIntake(t *testing.T) {
	for _, c := range []struct {
		name   string
		got    *Reproduction
		same   bool
		beyond uint64
	}{
		{"all compared", unsealed(true, 3, 0, 1, 2, 3), true, 0},
		{"killed, two records after the intake's end", unsealed(false, 2, 2, 1, 3, 4), true, 2},
		{"killed, a record inside the intake that the core does not make", unsealed(false, 3, 2, 1, 3, 4), false, 0},
		{"sealed, a record after the intake's end", unsealed(true, 2, 1, 1, 3), false, 0},
		{"killed, no record inside the intake", unsealed(false, 0, 2, 1, 2), false, 2},
	} {
		if c.got.Same != c.same || c.got.Beyond != c.beyond || c.got.Same != (c.got.First == "") {
			t.Errorf("%s: %+v", c.name, c.got)
		}
	}
}

// A record that the intake calls for and that was torn off is a difference only
// where the session was sealed.
func TestRecordsTornOff(t *testing.T) {
	for _, sealed := range []bool{true, false} {
		a := &again{meta: trail.Meta{Vehicles: []string{"wren"}}, written: map[string][]written{}, at: map[string]int{}, last: []time.Duration{5}}
		a.out.Sealed, a.out.Records = sealed, 1
		a.compare("wren", &watchdog.Record{Kind: watchdog.RecLevel, At: 4})
		if r := a.finish(); r.Same == sealed || r.Unwritten == 1 == sealed {
			t.Errorf("sealed %v: %+v", sealed, r)
		}
	}
}
