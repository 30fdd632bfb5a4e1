package pose

import (
	"fmt"
	"math"
)

// Bounds of an alignment by marks.
const (
	MinMarks = 3
	MaxMarks = 64
	// maxAlignTilt is how far a full rotation may lean, rad: trackers know
	// gravity, and marks in one plane, surveyed mirrored, fit upside down.
	maxAlignTilt = 30 * math.Pi / 180
	// knownDOF stands for a noise known beforehand, not estimated.
	knownDOF = 1000
)

// Mark is a surveyed point and where the body's centre was when it stood there.
type Mark struct {
	Name    string
	Tracker Vec // m, tracker frame, already z-up
	Site    Vec // m, site frame
}

// MarkOptions says how marks are fitted and judged.
type MarkOptions struct {
	Kind      FitKind
	Tolerance float64 // m, > 0: the most a mark may be off
	Noise     float64 // m, standard deviation of each coordinate of a mark; zero: estimated from what remains
	// Reach, m, is how far from the marks' middle on the level, and Rise, m, how
	// far above or below it the residual is to hold. Zero Reach: as far as the
	// outermost mark.
	Reach, Rise float64
	// LevelError, rad, is how far off gravity the tracker's own vertical is about
	// either level axis, 95 times of 100. A fit by yaw keeps it; a full one
	// finds it.
	LevelError float64
}

// MarkFit is an alignment by marks.
type MarkFit struct {
	// Alignment's Residual is the bound, m, that the error at Reach and Rise
	// stays under with probability 0.95, in the least favourable direction.
	Alignment Alignment
	Residuals []float64 // m, one for each mark
	Worst     int       // the mark with the greatest
	Sigma     float64   // m, standard deviation of each coordinate, given or estimated
	RMSE      float64   // m
}

// AlignMarks fits the tracker frame to surveyed marks by least squares. It
// refuses marks that coincide, lie on one line (where a mirrored survey would
// not show), are mirrored or swapped, or do not fit within the tolerance, and
// says which mark is to be measured again.
func AlignMarks(marks []Mark, o MarkOptions) (MarkFit, error) {
	if err := checkMarks(marks, &o); err != nil {
		return MarkFit{}, err
	}
	from, to := split(marks)
	for _, points := range [][]Vec{from, to} {
		if err := spreadOut(points, &o); err != nil {
			return MarkFit{}, err
		}
	}
	f, err := Umeyama(from, to, o.Kind, false)
	if err != nil {
		return MarkFit{}, fmt.Errorf("align: %w", err)
	}
	out := MarkFit{RMSE: f.RMSE(), Residuals: make([]float64, len(marks))}
	for i := range marks {
		out.Residuals[i] = f.Apply(from[i]).Sub(to[i]).Norm()
		if out.Residuals[i] > out.Residuals[out.Worst] {
			out.Worst = i
		}
	}
	if out.Residuals[out.Worst] > o.Tolerance {
		return out, misfit(marks, &out, &o)
	}
	if tilt := f.Rotation.Tilt(); tilt > maxAlignTilt {
		return out, fmt.Errorf("align: the marks fit only with the room leaning by %.0f°: is the survey mirrored, or are the axes wrong?", tilt*180/math.Pi)
	}
	out.Alignment = Alignment{Rotation: f.Rotation, Translation: f.Translation}
	out.Sigma, out.Alignment.Residual, err = uncertainty(from, to, &f, &o)
	return out, err
}

func checkMarks(marks []Mark, o *MarkOptions) error {
	if len(marks) < MinMarks || len(marks) > MaxMarks {
		return fmt.Errorf("align: %d marks: needs %d to %d", len(marks), MinMarks, MaxMarks)
	}
	if !(o.Tolerance > 0) || math.IsInf(o.Tolerance, 0) || !(o.Noise >= 0) || math.IsInf(o.Noise, 0) ||
		!(o.Reach >= 0 && o.Reach <= MaxCoordinate) || !(o.Rise >= 0 && o.Rise <= MaxCoordinate) ||
		!(o.LevelError >= 0 && o.LevelError <= maxAlignTilt) || o.Kind > FitFull {
		return fmt.Errorf("align: options %+v: tolerance must be above zero, noise, reach, rise and level error not below, all finite", *o)
	}
	for i := range marks {
		if !marks[i].Tracker.within(MaxCoordinate) || !marks[i].Site.within(MaxCoordinate) {
			return fmt.Errorf("align: mark %s: tracker %v, site %v: not finite or beyond ±%g m", title(marks, i), marks[i].Tracker, marks[i].Site, float64(MaxCoordinate))
		}
	}
	return nil
}

func title(marks []Mark, i int) string {
	if marks[i].Name != "" {
		return fmt.Sprintf("%q", marks[i].Name)
	}
	return fmt.Sprintf("no. %d", i+1)
}

func split(marks []Mark) (from, to []Vec) {
	for _, m := range marks {
		from, to = append(from, m.Tracker), append(to, m.Site)
	}
	return from, to
}

// spreadOut refuses points that coincide or lie on one line, to within the
// tolerance; seen from above where the fit keeps gravity.
func spreadOut(points []Vec, o *MarkOptions) error {
	_, m := moments(points, o.Kind == FitYaw)
	n := float64(len(points))
	switch {
	case !(math.Sqrt(m[0]/n) > o.Tolerance):
		return fmt.Errorf("align: the marks are all within %.3f m of one place: put them further apart", math.Sqrt(m[0]/n))
	case !(math.Sqrt(m[1]/n) > o.Tolerance):
		return fmt.Errorf("align: the marks are on one line to within %.3f m: move one aside, or a mirrored survey would not show", math.Sqrt(math.Max(0, m[1])/n))
	}
	return nil
}

// misfit says what is the matter with marks that do not fit.
func misfit(marks []Mark, out *MarkFit, o *MarkOptions) error {
	from, to := split(marks)
	fits := func(from, to []Vec) bool {
		f, err := Umeyama(from, to, FitYaw, false)
		if err != nil {
			return false
		}
		for i := range from {
			if f.Apply(from[i]).Sub(to[i]).Norm() > o.Tolerance {
				return false
			}
		}
		return true
	}
	mirrored := make([]Vec, len(from))
	for i, p := range from {
		mirrored[i] = Vec{p.X, -p.Y, p.Z}
	}
	if fits(mirrored, to) {
		return fmt.Errorf("align: the marks fit only in a mirror: check the signs of x and y in the survey")
	}
	for i := range marks {
		for j := range i {
			to[i], to[j] = to[j], to[i]
			if fits(from, to) {
				return fmt.Errorf("align: marks %s and %s look swapped: with them exchanged all fit", title(marks, j), title(marks, i))
			}
			to[i], to[j] = to[j], to[i]
		}
	}
	w := blame(from, to, out.Worst, o)
	return fmt.Errorf("align: the marks are off by up to %.3f m (tolerance %.3f m); mark %s is the worst: measure it again",
		out.Residuals[out.Worst], o.Tolerance, title(marks, w))
}

// blame is the mark without which the others fit best; of three marks, where
// any two fit, the one with the greatest residual.
func blame(from, to []Vec, worst int, o *MarkOptions) int {
	if len(from) == MinMarks {
		return worst
	}
	best := math.Inf(1)
	for i := range from {
		a := append(append([]Vec(nil), from[:i]...), from[i+1:]...)
		b := append(append([]Vec(nil), to[:i]...), to[i+1:]...)
		if f, err := Umeyama(a, b, o.Kind, false); err == nil && f.SumSquares < best {
			best, worst = f.SumSquares, i
		}
	}
	return worst
}

// uncertainty is the standard deviation of a mark's coordinate and the 95 %
// bound of the error at Reach and Rise from the marks' middle, in the least
// favourable direction. The error is that of the middle, σ²/n in every
// direction; on top of it the rotation's, σ² over the marks' moment about the
// axis; and, of a fit by yaw, that of the tracker's vertical.
func uncertainty(from, to []Vec, f *Fit, o *MarkOptions) (sigma, bound float64, err error) {
	sigma, dof, err := scatter(from, to, f, o)
	if err != nil {
		return 0, 0, err
	}
	n, s2 := float64(len(from)), sigma*sigma
	reach := o.Reach
	centre, m := moments(from, o.Kind == FitYaw)
	for _, p := range from {
		if o.Reach == 0 {
			reach = math.Max(reach, p.Sub(centre).Norm())
		}
	}
	if o.Kind == FitFull {
		// Moments about the axes: least about the line the marks lie along.
		r2 := float64(reach*reach) + float64(o.Rise*o.Rise)
		return sigma, boundFactor([3]float64{s2 * (1/n + r2/(m[1]+m[2])), s2 * (1/n + r2/(m[0]+m[2])), s2 / n}, dof), nil
	}
	// Marks at several heights on a frame that leans seem turned: the yaw is
	// then off by the lean times skew, and at worst adds to what it does itself.
	skew := skewed(from, centre, m[0]+m[1])
	estimated := atReach(s2/n, s2/(m[0]+m[1]), 0, reach, 0)
	all := atReach(s2/n, s2/(m[0]+m[1]), square(o.LevelError/within95), reach, o.Rise+float64(reach*skew))
	return sigma, boundFactor(all, blended(estimated, all, dof)), nil
}

// scatter is the standard deviation of a mark's coordinate and how many degrees
// of freedom it was estimated with. Where the tracker's vertical may be off it
// is told from what a full rotation leaves: that has no part of it.
func scatter(from, to []Vec, f *Fit, o *MarkOptions) (sigma, dof float64, err error) {
	if o.Noise > 0 {
		return o.Noise, knownDOF, nil
	}
	free, left := 4.0, f.SumSquares // three of translation and the yaw are fitted
	if o.Kind == FitFull {
		free = 6
	} else if o.LevelError > 0 {
		full, err := Umeyama(from, to, FitFull, false)
		if err != nil {
			return 0, 0, fmt.Errorf("align: %w", err)
		}
		free, left = 6, full.SumSquares
	}
	dof = float64(3*len(from)) - free
	return math.Sqrt(left / dof), dof, nil
}

// skewed is by how much, rad for each rad of lean, marks at several heights
// seem turned about the vertical.
func skewed(from []Vec, centre Vec, moment float64) float64 {
	var x, y float64
	for _, p := range from {
		d := p.Sub(centre)
		x, y = x+float64(d.Z*d.X), y+float64(d.Z*d.Y)
	}
	return math.Hypot(x, y) / moment
}

// blended is the degrees of freedom of variances of which only a part was
// estimated, with dof, and the rest is known: those of the sum whose scatter is
// the same (Welch, The generalization of Student's problem when several
// different population variances are involved, 1947).
func blended(estimated, all [3]float64, dof float64) float64 {
	part, whole := estimated[0]+estimated[1]+estimated[2], all[0]+all[1]+all[2]
	if !(part > 0) {
		return knownDOF
	}
	return math.Min(knownDOF, dof*square(whole/part))
}
