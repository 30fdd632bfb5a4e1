package cli

import (
	"context"
	"fmt"
	"math"
	"path/filepath"

	"pinfold/watchdog/survey"
)

// driftReport is what --close prints.
type driftReport struct {
	survey.Drift
	Declared float64 `json:"declared_m"` // the site file's position error, the residual included
	Covered  bool    `json:"covered"`
	Recorded string  `json:"recorded,omitempty"` // folder of the session in the trail that holds it
}

// drift measures how far the tracker crept, records it and says so.
func (a *aligner) drift(ctx context.Context) error {
	a.prompt("Put %s back on its pad, looking its way, and let go.", a.v.Name)
	cfg := a.v.Config.Pose
	cfg.Align = a.file.Alignment
	st, err := a.dwell(ctx, cfg, true)
	if err != nil {
		return err
	}
	al := &a.file.Alignment
	if st.Tracker != al.Tracker || st.From < al.Since {
		return found("%s", fold(fmt.Sprintf("the tracker restarted since the alignment (%q then, %q now): what drift there was cannot be told", al.Tracker, st.Tracker)))
	}
	r := driftReport{Drift: survey.MeasureDrift(&st, a.spot, al, a.reach(a.spot.Position)), Declared: a.v.Config.Stopping.PlaceErr()}
	r.Covered = r.Needed <= r.Declared
	if err := a.keep(&r); err != nil {
		return err
	}
	if a.cmd.JSON {
		err = printJSON(a.s.out, r)
	} else {
		fmt.Fprintf(a.s.out, "crept by %.3f m on the level, %+.3f m in height,\n%+.2f° in heading over %.0f s\n", r.Horizontal, r.Vertical, r.Yaw*180/math.Pi, r.Lasted)
		fmt.Fprintf(a.s.out, "anywhere in the pen that calls for a position error of\n%.3f m; declared is %.3f m\n", r.Needed, r.Declared)
		if r.Recorded != "" {
			fmt.Fprintf(a.s.out, "in the trail: %s\n", r.Recorded)
		}
	}
	if err == nil && !r.Covered {
		return found("the declared position error does not cover it:\nraise position_error in [vehicle.stopping],\nor align again more often")
	}
	return err
}

// keep puts the drift into the trail. Where none is named and the site's own
// cannot take it, a person is told, and the measure stands all the same.
func (a *aligner) keep(r *driftReport) (err error) {
	al := &a.file.Alignment
	rec := driftRecord{Vehicle: a.v.Name, Tracker: al.Tracker, Aligned: a.file.Made, Drift: *r}
	dir, key := a.site.Trail.Dir, a.site.Trail.KeyFile
	if a.cmd.Trail != "" { // as run has it
		dir, key = a.cmd.Trail, filepath.Join(a.cmd.Trail, "trail.key")
	}
	if r.Recorded, err = rec.record(a.site, dir, key, a.text); err == nil || a.cmd.Trail != "" {
		return err
	}
	a.prompt("%s", fold(fmt.Sprintf("NOT in the trail: %v", err)))
	return nil
}
