package rehearse

import (
	"fmt"

	"pinfold/config"
	"pinfold/watchdog"
	"pinfold/watchdog/pose"
)

// Site draws cases of one vehicle of a site file, in its own pen, by its own
// declaration. Where no acceleration is declared the vehicle gains none: it
// drives at a constant velocity.
type Site struct {
	Break  Break
	Peace  bool // pilots that mean no harm as well
	scenes []scene
}

// NewSite makes a Site for a vehicle. It refuses one that is not predicted:
// there is nothing to rehearse where a stop is called when it is too late.
func NewSite(v *config.Vehicle) (*Site, error) {
	scenes, err := scenesOf(v)
	return &Site{scenes: scenes}, err
}

// scenesOf are what the cases of a vehicle share: one for each model it may move
// by.
func scenesOf(v *config.Vehicle) ([]scene, error) {
	c := v.Config
	if !c.Stopping.Predict {
		return nil, fmt.Errorf("rehearse: vehicle %q: predict is false, so its stop is only called when it is too late; nothing is promised that could be rehearsed", v.Name)
	}
	c.Session, c.Guard = "rehearsal", "rehearsal"
	c.Others = nil // one vehicle at a time; NewSitePair gives it one
	// The simulated tracker speaks the contract, in the site frame. What its tie
	// to the room may be off is part of the position error already.
	given := c.Fields.VX != ""
	c.Fields = pose.DefaultFields()
	if !given {
		c.Fields.VX, c.Fields.VY, c.Fields.VZ = "", "", ""
	}
	c.Pose.Axes, c.Pose.Mount, c.Pose.Align = pose.ZUp, pose.Mount{}, pose.Alignment{}
	p := &pen{set: c.Zones, judged: regionsOf(c.Zones.Shapes()), flies: c.Kind == watchdog.Multirotor}
	if c.HasGround {
		for i := range p.judged.Inside {
			p.judged.Inside[i].Floor = grounded(p.judged.Inside[i].Floor)
		}
	}
	p.judged.Radius, p.judged.Below, p.judged.Above = c.Radius, c.Height/2, c.Height/2
	p.targets = append(targets(&p.judged, p.flies, c.HasGround), limitTargets(&c)...)
	if c.Kind == watchdog.Multirotor {
		return []scene{{config: c, pen: p, plant: Point}}, nil
	}
	return []scene{{config: c, pen: p, plant: Differential}, {config: c, pen: p, plant: Steered}}, nil
}

// grounded is a floor that nothing reaches, where the ground is what ends a
// fall.
func grounded(floor float64) float64 {
	if floor <= 0 {
		return floor + below
	}
	return floor
}

// Case draws the case of a seed.
func (s *Site) Case(seed uint64, attempt int) (*Case, error) {
	scene, b, peace, err := s.stage(seed)
	return scene.draw(seed, attempt, b, peace), err
}

func (s *Site) stage(seed uint64) (*scene, *Break, bool, error) {
	return &s.scenes[seed%uint64(len(s.scenes))], &s.Break, s.Peace, nil
}
