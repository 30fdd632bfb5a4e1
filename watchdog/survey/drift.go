package survey

import (
	"math"

	"pinfold/watchdog/pose"
)

// Drift is how far the tracker crept while a session lasted, measured by a
// vehicle back on its pad.
type Drift struct {
	Offset     pose.Vec `json:"-"`
	Horizontal float64  `json:"horizontal_m"`
	Vertical   float64  `json:"vertical_m"` // signed, up
	Yaw        float64  `json:"yaw_rad"`    // signed, -π to π
	Lasted     float64  `json:"lasted_s"`   // from the alignment's first sample
	// Needed is the position error, m, that covers this drift anywhere within
	// reach of the pad, and the alignment's residual besides.
	Needed float64 `json:"needed_m"`
}

// MeasureDrift compares where the vehicle seems to stand, by the alignment,
// with the pad. reach, m, is how far from the pad the pen goes.
func MeasureDrift(st *pose.Still, pad *pose.PadSpot, a *pose.Alignment, reach float64) Drift {
	d := Drift{Offset: st.Position.Sub(pad.Position), Yaw: math.Remainder(st.Attitude.Yaw()-pad.Yaw, 2*math.Pi)}
	d.Horizontal, d.Vertical = math.Hypot(d.Offset.X, d.Offset.Y), d.Offset.Z
	if a.Since > 0 {
		d.Lasted = float64(st.To-a.Since) / 1e9
	}
	d.Needed = d.Offset.Norm() + 2*reach*math.Abs(math.Sin(d.Yaw/2)) + a.Residual
	return d
}
