package pose

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// room is four marks of an invented hall, tied by yaw 0.7 and a shift.
func room(noise float64, rng *rand.Rand) []Mark {
	site := []Vec{{0, 0, 0.1}, {7, 0, 0.1}, {7, 5, 0.1}, {1, 4, 0.6}}
	back := FromYaw(0.7).Conj()
	marks := make([]Mark, len(site))
	for i, p := range site {
		marks[i] = Mark{Name: string(rune('A' + i)), Site: p, Tracker: back.Rotate(p.Sub(Vec{2, 3, 0.5}))}
		if noise > 0 {
			marks[i].Tracker = marks[i].Tracker.Add(randomVec(rng).Scale(noise))
		}
	}
	return marks
}

func TestAlignMarks(t *testing.T) {
	for _, kind := range []FitKind{FitYaw, FitFull} {
		f, err := AlignMarks(room(0, nil), MarkOptions{Kind: kind, Tolerance: 0.05})
		if err != nil {
			t.Fatal(err)
		}
		nearRotation(t, "rotation", f.Alignment.Rotation, FromYaw(0.7), 1e-12)
		nearVec(t, "translation", f.Alignment.Translation, Vec{2, 3, 0.5}, 1e-12)
		near(t, "residual", f.Alignment.Residual, 0, 1e-12)
		if kind == FitYaw && !f.Alignment.KeepsGravity() {
			t.Error("a fit by yaw leans")
		}
	}
}

func TestMarksThatAreRefused(t *testing.T) {
	good := MarkOptions{Tolerance: 0.05}
	for _, c := range []struct {
		name  string
		spoil func([]Mark) []Mark
		o     MarkOptions
		want  string
	}{
		{"two", func(m []Mark) []Mark { return m[:2] }, good, "2 marks: needs 3 to 64"},
		{"many", func(m []Mark) []Mark { return make([]Mark, 65) }, good, "65 marks"},
		{"NaN", func(m []Mark) []Mark { m[1].Site.X = math.NaN(); return m }, good, `mark "B"`},
		{"infinite", func(m []Mark) []Mark { m[2].Tracker.X, m[2].Name = math.Inf(1), ""; return m }, good, "mark no. 3"},
		{"coincide", func(m []Mark) []Mark {
			for i := range m {
				m[i].Site = Vec{1, 1, float64(i)} // above one another
			}
			return m
		}, good, "all within 0.000 m of one place"},
		{"on one line", func(m []Mark) []Mark {
			for i := range m {
				m[i].Tracker = Vec{float64(i), 2 * float64(i), 0}
			}
			return m
		}, good, "on one line"},
		{"mirrored", func(m []Mark) []Mark {
			for i := range m {
				m[i].Site.X = -m[i].Site.X
			}
			return m
		}, good, "only in a mirror"},
		{"x and y exchanged", func(m []Mark) []Mark {
			for i := range m {
				m[i].Site.X, m[i].Site.Y = m[i].Site.Y, m[i].Site.X
			}
			return m
		}, good, "only in a mirror"},
		{"swapped", func(m []Mark) []Mark { m[0].Site, m[2].Site = m[2].Site, m[0].Site; return m }, good, `marks "A" and "C" look swapped`},
		{"one off", func(m []Mark) []Mark { m[3].Site.Y += 0.4; return m }, good, `mark "D" is the worst`},
		{"one off in height", func(m []Mark) []Mark { m[1].Site.Z += 0.4; return m }, good, `mark "B" is the worst`},
		{"flat and mirrored, full", func(m []Mark) []Mark {
			for i := range m {
				m[i].Site.Z, m[i].Tracker.Z = 0, 0
				m[i].Site.X = -m[i].Site.X
			}
			return m
		}, MarkOptions{Kind: FitFull, Tolerance: 0.05}, "leaning by 180°"},
		{"no tolerance", func(m []Mark) []Mark { return m }, MarkOptions{}, "tolerance must be above zero"},
		{"NaN tolerance", func(m []Mark) []Mark { return m }, MarkOptions{Tolerance: math.NaN()}, "tolerance must be above zero"},
		{"NaN reach", func(m []Mark) []Mark { return m }, MarkOptions{Tolerance: 1, Reach: math.NaN()}, "reach"},
	} {
		f, err := AlignMarks(c.spoil(room(0, nil)), c.o)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q in it", c.name, err, c.want)
		}
		if f.Alignment != (Alignment{}) {
			t.Errorf("%s: refused, but gives %+v", c.name, f.Alignment)
		}
	}
}
