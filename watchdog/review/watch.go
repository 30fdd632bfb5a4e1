package review

import (
	"pinfold/watchdog"
	"pinfold/watchdog/trail"
)

// Watch steps the core through a session's intake again and shows each every
// step: the vehicle's name, the event, how the guard stands after it and what it
// said to do, both valid until each returns. An error of each ends it and is given
// back.
func Watch(folder string, each func(vehicle string, kind watchdog.EventKind, s *watchdog.Snapshot, effects []watchdog.Effect) error) error {
	r, err := trail.Open(folder)
	if err != nil {
		return err
	}
	defer r.Close()
	a, err := prepare(r)
	if err != nil {
		return err
	}
	a.each = func(st step) error {
		s := st.guard.Snapshot()
		return each(a.meta.Vehicles[st.vehicle], watchdog.EventKind(st.item.Kind), &s, st.effects)
	}
	_, err = a.run(r)
	return err
}
