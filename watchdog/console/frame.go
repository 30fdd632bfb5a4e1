package console

import (
	"encoding/json"
	"math"
	"time"

	"pinfold/watchdog"
)

// frame is what every browser gets, newest wins.
type frame struct {
	Now      float64   `json:"now"` // s, session instant
	Vehicles []*figure `json:"v"`   // null: not shown yet
}

// figure is one vehicle in a frame: the state as on the broker, and what a
// picture needs beside it. Numbers that are not finite are null.
type figure struct {
	At      float64         `json:"at"` // s, session instant of the judgement
	State   json.RawMessage `json:"state"`
	Near    []string        `json:"near"` // sentences of what is inside the caution band
	Trust   string          `json:"trust"`
	Rest    bool            `json:"rest"`
	Link    bool            `json:"link"`
	Trail   bool            `json:"trail"`
	Acked   bool            `json:"acked"`
	Returns bool            `json:"returns"` // it is being brought back
	Back    []string        `json:"back"`    // what a start that brings it back lacks; null: there is nowhere to bring it back from
	Place   *place          `json:"place"`   // null: no pose was judged, or the tracker is not tied to the room
}

// place is where a vehicle is, m and rad, site frame.
type place struct {
	At    [3]*float64 `json:"at"`
	Yaw   *float64    `json:"yaw"`
	Reach [8]*float64 `json:"reach"` // from x, y, to x, y, radius, its growth, below, above
	Edge  [3]*float64 `json:"edge"`  // the nearest point of the boundary
	Zone  string      `json:"zone"`
	Face  string      `json:"face"`
}

// encode makes the frame of now.
func encode(now time.Duration, screens []*Screen, site *Site) ([]byte, error) {
	f := frame{Now: now.Seconds()}
	for i, s := range screens {
		var fig *figure
		if shown := s.newest.Load(); shown != nil {
			fig = figureOf(shown, &site.Vehicles[i])
		}
		f.Vehicles = append(f.Vehicles, fig)
	}
	return json.Marshal(&f)
}

func figureOf(shown *Shown, v *Vehicle) *figure {
	s := &shown.Snap
	f := &figure{At: s.At.Seconds(), State: shown.State.Append(nil), Near: []string{}, Rest: s.AtRest,
		Link: s.Link, Trail: s.Trail, Acked: s.Acked, Returns: s.Retrieves}
	if s.Trust != 0 {
		f.Trust = s.Trust.String()
	}
	for i := range s.Near {
		f.Near = append(f.Near, s.Near[i].Text)
	}
	if s.Astray {
		f.Back = append([]string{}, s.BackLacks...)
	}
	if s.Judged && !s.Void {
		f.Place = placeOf(s, v)
	}
	return f
}

func placeOf(s *watchdog.Snapshot, v *Vehicle) *place {
	w, p, n := &s.Reach.Sweep, s.Pose.Position, &s.Nearest
	out := &place{At: [3]*float64{num(p.X), num(p.Y), num(p.Z)}, Yaw: num(s.Pose.Orientation.Yaw()), Face: n.Face.String()}
	for i, x := range [...]float64{w.From.X, w.From.Y, w.To.X, w.To.Y, w.Radius, w.Grow, w.Below, w.Above} {
		out.Reach[i] = num(x)
	}
	if n.Zone >= 0 && n.Zone < len(v.Judged) {
		out.Zone = v.Judged[n.Zone]
		out.Edge = [3]*float64{num(n.Nearest.X), num(n.Nearest.Y), num(n.Nearest.Z)}
	}
	return out
}

// num rounds to a tenth of a millimetre, which is more than shows; nil where
// nothing is known.
func num(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	x = math.Round(x*1e4) / 1e4
	return &x
}
