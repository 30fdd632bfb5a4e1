package app

import "pinfold/watchdog/console/metrics"

// openMetrics begins to serve metrics and health where the site file says so.
func (r *runner) openMetrics() error {
	addr := r.opt.Site.Metrics
	if addr == "" {
		return nil
	}
	m := metrics.New(r.measured())
	at, stop, err := m.Serve(addr)
	if err != nil {
		return err
	}
	r.metrics, r.stopMetrics = m, stop
	r.say(Line{At: r.now(), Text: "metrics at http://" + at + "/metrics"})
	return nil
}

// measured says of what there are metrics.
func (r *runner) measured() metrics.Session {
	s := metrics.Session{Version: r.opt.Version, Began: r.start, Now: r.now, Trail: r.trailStands,
		Signed: []string{kindPose, kindAck, kindRequest, kindAlign, kindPermit}}
	for i := range r.opt.Site.Vehicles {
		s.Vehicles = append(s.Vehicles, r.opt.Site.Vehicles[i].Name)
	}
	return s
}

func (r *runner) closeMetrics() {
	if r.stopMetrics != nil {
		r.stopMetrics()
	}
}

func (r *runner) countReload(taken bool) {
	if r.metrics != nil {
		r.metrics.Reload(taken)
	}
}

func (r *runner) trailStands() metrics.Trail {
	s := r.trail.Status()
	return metrics.Trail{OK: s.OK, Lost: s.Lost, Lines: s.Lines, Items: s.Items, Bytes: s.Bytes, Bound: s.Bound, Free: s.Free,
		Steps: s.Steps, Stepped: s.Stepped}
}
