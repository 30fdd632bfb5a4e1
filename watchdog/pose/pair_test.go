package pose_test

import (
	"encoding/json"
	"math"
	"testing"

	"pinfold/watchdog/pose"
)

// The published pair: motion capture and a visual estimate of one run. The
// answers (Umeyama without scale, agreeing with scipy; and by yaw alone) are
// an independent computation's.
func TestPairOfRecordings(t *testing.T) {
	var want struct {
		Used int
		R    [3][3]float64
		T    [3]float64
		RMSE float64 `json:"rmse_m"`
		Yaw  struct {
			Deg  float64 `json:"yaw_deg"`
			T    [3]float64
			RMSE float64 `json:"rmse_m"`
		} `json:"yaw_only"`
	}
	if err := json.Unmarshal(read(t, "pair.align.json"), &want); err != nil {
		t.Fatal(err)
	}
	from, to := associate(load(t, "pair_estimate.tum.txt"), load(t, "pair_truth.tum.txt"))
	if len(from) != want.Used {
		t.Fatalf("%d pairs, want %d", len(from), want.Used)
	}
	check := func(what string, got, want, tolerance float64) {
		t.Helper()
		if !(math.Abs(got-want) <= tolerance) {
			t.Errorf("%s: %.9f, want %.9f", what, got, want)
		}
	}
	vec := func(what string, got pose.Vec, w [3]float64) {
		t.Helper()
		for i, g := range []float64{got.X, got.Y, got.Z} {
			check(what, g, w[i], 1e-4)
		}
	}
	full, err := pose.Umeyama(from, to, pose.FitFull, false)
	if err != nil {
		t.Fatal(err)
	}
	for c, axis := range []pose.Vec{{X: 1}, {Y: 1}, {Z: 1}} {
		col := full.Rotation.Rotate(axis)
		for r, got := range []float64{col.X, col.Y, col.Z} {
			check("rotation", got, want.R[r][c], 1e-6)
		}
	}
	vec("translation", full.Translation, want.T)
	check("RMSE", full.RMSE(), want.RMSE, 1e-5)

	yaw, err := pose.Umeyama(from, to, pose.FitYaw, false)
	if err != nil {
		t.Fatal(err)
	}
	check("yaw", yaw.Rotation.Yaw(), want.Yaw.Deg*math.Pi/180, 1e-6)
	vec("translation by yaw", yaw.Translation, want.Yaw.T)
	check("RMSE by yaw", yaw.RMSE(), want.Yaw.RMSE, 1e-5)
}

// associate interpolates the truth at the estimate's stamps, as the answers
// say they did: none outside it, none in steps over 50 ms.
func associate(estimate, truth []pose.Sample) (from, to []pose.Vec) {
	k := 0
	for _, e := range estimate {
		for k+1 < len(truth) && truth[k+1].Stamp < e.Stamp {
			k++
		}
		if k+1 >= len(truth) || truth[k].Stamp > e.Stamp {
			continue
		}
		a, b := truth[k], truth[k+1]
		if b.Stamp-a.Stamp > int64(window) {
			continue
		}
		share := float64(e.Stamp-a.Stamp) / float64(b.Stamp-a.Stamp)
		from = append(from, e.Position)
		to = append(to, a.Position.Add(b.Position.Sub(a.Position).Scale(share)))
	}
	return from, to
}
