package judge

import (
	"math"
	"testing"
)

// What is nearest, by hand, in a square room with a post in a hole's place.
func TestNearest(t *testing.T) {
	room := box("room", 0, 0, 4, 4)
	room.Holes = [][][2]float64{{{3, 3}, {3.5, 3}, {3.5, 3.5}, {3, 3.5}}}
	post := box("post", 1, 1, 1.2, 1.2)
	post.Ceiling = 1
	j := newJudge(t, Pen{Inside: []Region{room}, Outside: []Region{post}, Radius: 0.1, Below: 0.1, Above: 0.1})
	for _, c := range []struct {
		x, y, z, room float64
		at            Place
	}{
		{2, 0.4, 1.5, 0.3, Place{"room", 0}},
		{3.6, 2, 1.5, 0.3, Place{"room", 1}},
		{2.5, 3.2, 1.5, 0.4, Place{"room", 7}}, // the hole's west side, after the four of the outside
		{2, 2, 0.3, 0.2, Place{"room", Floor}},
		{2, 2, 2.7, 0.2, Place{"room", Ceiling}},
		{0.8, 1.1, 0.5, 0.1, Place{"post", 3}},
		{1.1, 1.1, 1.3, 0.2, Place{"post", Ceiling}},
		{4.2, 2, 1.5, -0.3, Place{"room", 1}},
	} {
		got, at := j.Nearest(c.x, c.y, c.z)
		if math.Abs(got-c.room) > 1e-12 || at != c.at || math.Abs(got-j.Room(c.x, c.y, c.z)) > 1e-12 {
			t.Errorf("(%v, %v, %v): %v at %v, wanted %v at %v", c.x, c.y, c.z, got, at, c.room, c.at)
		}
	}
}
