package config

import (
	"reflect"
	"strings"
	"testing"
	"time"

	"pinfold/watchdog"
)

// TestTighter changes one thing at a time in a file with every key and asks
// whether it may be taken while running. Where Tighter says yes, the core must
// say yes too: a reload that reports success while a part refuses it is worse
// than none.
func TestTighter(t *testing.T) {
	full := text(t, "full.toml")
	site := mustQuickly(t, full)
	for _, c := range []struct{ old, next, refused string }{
		// tighter, or the same in effect
		{"# Every key", "# every key", ""},
		{`name = "Brackenfield yard"`, `name = "Brackenfield back yard"`, ""},
		{"checked by the yard lead", "checked by the yard lead again", ""},
		{"radius = 0.22", "radius = 0.25", ""},
		{"height = 0.12", "height = 0.20", ""},
		{"zone_caution = 0.4", "zone_caution = 0.5", ""},
		{"max = 4.0, caution = 3.5", "max = 3.8, caution = 3.4", ""},
		{"confirm = 3", "confirm = 1", ""},
		{`answer = "caution"`, `answer = "stop"`, ""},
		{"descent = 0.8", "descent = 0.7", ""},
		{`session = "20m"`, `session = "10m"`, ""},
		{`reaction = "150ms"`, `reaction = "200ms"`, ""},
		{`link = "40ms"`, `link = "20ms"`, ""},
		{`budget = "120ms"`, `budget = "100ms"`, ""},
		{"tilt = 20.0", "tilt = 15.0", ""},
		{"vertical = 2.5", "vertical = 2.0", ""},
		{"acceleration = 1.0", "acceleration = 1.5", ""},
		{"slope = 0.0", "slope = 0.05", ""},
		{"cover_loss = false", "cover_loss = true", ""},
		{"margin = 0.10", "margin = 0.20", ""},
		{"position_error = 0.02", "position_error = 0.04", ""},
		{"velocity_error = 0.05", "velocity_error = 0.08", ""},
		{"distance = 0.8", "distance = 0.9", ""},
		{"lead = 0.4", "lead = 0.5", ""},
		{"rank = 2", "rank = 5", ""},
		{`valid = "200ms"`, `valid = "150ms"`, ""},
		{`every = "40ms"`, `every = "30ms"`, ""},
		{`trusted_for = "3s"`, `trusted_for = "4s"`, ""},
		{"ceiling = 6.0", "ceiling = 5.5", ""},
		{"floor = 0.0", "floor = -0.1", ""}, // still on the floor, the same allowance
		{"[20.0, 0.0], [20.0, 12.0]", "[19.0, 0.0], [19.0, 12.0]", ""},
		{"[0.0, 0.0], [20.0, 0.0], [20.0, 12.0], [0.0, 12.0]", "[20.0, 12.0], [20.0, 0.0], [0.0, 0.0], [0.0, 12.0]", ""}, // the other way round
		{"[10.0, 5.0], [10.0, 6.0]", "[10.5, 5.0], [10.5, 6.0]", ""},                                                     // a larger hole
		{"[[vehicle]]\nname = \"wren\"", "[[zone]]\nname = \"pole\"\nkind = \"keep-out\"\nfloor = 0\nceiling = 3\npolygon = [[4, 4], [5, 4], [5, 5]]\n[[vehicle]]\nname = \"wren\"", ""},

		// looser
		{"radius = 0.22", "radius = 0.2", "vehicle.radius"},
		{`link = "40ms"`, `link = "50ms"`, "vehicle.stopping.link"},
		{`budget = "120ms"`, `budget = "130ms"`, "broker.budget"},
		{`budget = "120ms"`, "", "broker.budget"},
		{"height = 0.12", "height = 0.1", "vehicle.height"},
		{"zone_caution = 0.4", "zone_caution = 0.3", "vehicle.zone_caution"},
		{"max = 4.0", "max = 4.1", "vehicle.limits.height.max"},
		{"caution = 3.5", "caution = 3.6", "vehicle.limits.height.caution"},
		{"confirm = 3", "confirm = 4", "vehicle.limits.height.confirm"},
		{`confirm = 3, answer = "stop"`, `confirm = 3, answer = "caution"`, "vehicle.limits.height.answer"},
		{"speed = 2.0", "speed = 2.1", "vehicle.limits.speed.max"},
		{"turn = 180.0\n", "", "vehicle.limits.turn"},
		{`reaction = "150ms"`, `reaction = "100ms"`, "vehicle.stopping.reaction"},
		{"tilt = 20.0", "tilt = 25.0", "vehicle.stopping.deceleration"},
		{"distance = 0.8", "distance = 0.7", "apart.distance"},
		{"lead = 0.4", "lead = 0.3", "apart.lead"},
		{"rank = 1", "rank = 3", "apart.lead"}, // now the other one yields
		{"vertical = 2.5", "vertical = 3.0", "vehicle.stopping.vertical"},
		{"acceleration = 1.0", "acceleration = 0.5", "vehicle.stopping.acceleration"},
		{"margin = 0.10", "margin = 0.05", "vehicle.stopping.margin"},
		{"position_error = 0.02", "position_error = 0.01", "vehicle.stopping.position_error"},
		{"velocity_error = 0.05", "velocity_error = 0.01", "vehicle.stopping.velocity_error"},
		{"predict = true", "predict = false", "vehicle.stopping.predict"},
		{`valid = "200ms"`, `valid = "250ms"`, "vehicle.permit.valid"},
		{`every = "40ms"`, `every = "50ms"`, "vehicle.permit.every"},
		{`command_every = "70ms"`, `command_every = "90ms"`, "vehicle.timing.command_every"},
		{`ack_within = "400ms"`, `ack_within = "500ms"`, "vehicle.timing.ack_within"},
		{`state_every = "250ms"`, `state_every = "350ms"`, "vehicle.timing.state_every"},
		{`stall = "300ms"`, `stall = "400ms"`, "vehicle.timing.stall"},
		{`caution_dwell = "600ms"`, `caution_dwell = "500ms"`, "vehicle.timing.caution_dwell"},
		{`trusted_for = "3s"`, `trusted_for = "2s"`, "vehicle.timing.trusted_for"},
		{`rest_for = "400ms"`, `rest_for = "300ms"`, "vehicle.timing.rest_for"},
		{"rest_speed = 0.1", "rest_speed = 0.2", "vehicle.timing.rest_speed"},
		{"obey_slack = 0.25", "obey_slack = 0.3", "vehicle.timing.obey_slack"},
		{"obey_tolerance = 0.75", "obey_tolerance = 0.7", "vehicle.timing.obey_tolerance"},
		{"obey_confirm = 4", "obey_confirm = 5", "vehicle.timing.obey_confirm"},
		{"ceiling = 6.0", "ceiling = 6.5", `zone = lawn`},
		{"floor = 0.0", "floor = -0.5", `zone = lawn`},
		{"[20.0, 0.0], [20.0, 12.0]", "[21.0, 0.0], [21.0, 12.0]", `zone = lawn`},
		{"[10.0, 5.0], [10.0, 6.0]", "[9.5, 5.0], [9.5, 6.0]", `zone = lawn`}, // a smaller hole
		{"holes = ", "# holes = ", `zone = lawn`},
		{`name = "lawn"`, `name = "meadow"`, `zone = meadow`},
		{"ground_allowance = 0.25", "ground_allowance = 0.35", `zone = lawn`},
		{`zones = ["yard.geojson"]`, ``, `zone = shed`},

		// only by a stop and a start
		{`guard = "hut-1"`, `guard = "hut-3"`, "site.guard"},
		{`fellows = ["hut-2"]`, `fellows = ["hut-3"]`, "site.fellows"},
		{`key_file = "wren.key"`, `key_file = "rook.key"`, "vehicle.signing"},
		{"key_file = \"wren.key\"\n", "", "vehicle.signing"},
		{"fellows = [\"hut-2\"]\n", "", "site.fellows"},
		{`prefix = "yard/pinfold"`, `prefix = "yard"`, "broker"},
		{`listen = "127.0.0.1:8087"`, `listen = "127.0.0.1:8088"`, "console"},
		{`token_file = "password.txt"`, "token_file = \"password.txt\"\ncert = \"password.txt\"\nkey = \"password.txt\"", "console"},
		{`dir = "evidence"`, `dir = "elsewhere"`, "trail"},
		{"home = [2.0, 2.0]", "home = [2.0, 3.0]", "vehicle.home"},
		{`axes = "y-up"`, `axes = "z-up"`, "vehicle.pose.axes"},
		{"pitch = 15.0", "pitch = 16.0", "vehicle.pose.mount"},
		{"yaw = 35.0", "yaw = 36.0", "vehicle.pose.align"},
		{`stamp = "/t"`, `stamp = "/time"`, "vehicle.pose.fields"},
		{`max_age = "80ms"`, `max_age = "70ms"`, "vehicle.pose.max_age"},
		{`settle = "1s"`, `settle = "2s"`, "vehicle.pose"},
		{`name = "mole"`, `name = "vole"`, `vehicle = none`},
		{"floor = 0.0", "floor = 0.2", "zone.floor"},
	} {
		next := changed(t, full, c.old, c.next)
		if c.next == `name = "vole"` {
			next = strings.ReplaceAll(next, `"mole"`, `"vole"`)
		}
		if c.next == "predict = false" { // which cannot be read beside these
			next = changed(t, next, "[apart]\ndistance = 0.8\nlead = 0.4\n", "")
			next = changed(t, changed(t, next, "rank = 1\n", ""), "rank = 2\n", "")
		}
		checkTighter(t, site, mustQuickly(t, next), c.old+" -> "+c.next, c.refused)
	}
}

func mustQuickly(t *testing.T, text string) *Site {
	t.Helper()
	s, err := quickly(text)
	if err != nil {
		t.Fatalf("%v\nin:\n%s", err, text)
	}
	return s
}

func checkTighter(t *testing.T, old, next *Site, what, refused string) {
	t.Helper()
	err := Tighter(old, next)
	if refused != "" {
		if err == nil || !strings.Contains(err.Error(), "site.toml: "+refused) {
			t.Errorf("%s: %v, want a problem with %s", what, err, refused)
		}
		return
	}
	if err != nil {
		t.Errorf("%s is refused: %v", what, err)
		return
	}
	for i := range old.Vehicles {
		g := guardOf(t, &old.Vehicles[i])
		n, _ := next.Vehicle(old.Vehicles[i].Name)
		c := n.Config
		c.Session = "s"
		if _, err := g.Tighten(c, time.Second); err != nil {
			t.Errorf("%s: Tighter takes it and the core does not: %v", what, err)
		}
	}
}

// guardOf starts the core on a vehicle of a site: what Load gives is complete
// but for the session and its seed.
func guardOf(t *testing.T, v *Vehicle) *watchdog.Guard {
	t.Helper()
	c := v.Config
	c.Session = "s"
	g, err := watchdog.New(c)
	if err != nil {
		t.Fatalf("the core refuses the config of %q: %v", v.Name, err)
	}
	return g
}

// TestTighterSeesEveryField changes every number, duration, flag and word of a
// vehicle's config, up and down, by reflection: of every field at least one
// direction must be refused, or it must stand in the list of those that have
// no bearing.
func TestTighterSeesEveryField(t *testing.T) {
	site := mustQuickly(t, text(t, "full.toml"))
	free := map[string]bool{
		"Session": true, "NonceSeed": true, "Hash": true, // drawn or computed anew
		"Vehicle":   true, // compared by Vehicle.Name
		"Guard":     true, // compared once for the site
		"MotorsOff": true, // of how the guard was started, and not of a site file
	}
	for _, path := range leaves(reflect.TypeOf(watchdog.Config{}), nil) {
		name := reflect.TypeOf(watchdog.Config{}).FieldByIndex(path[:1]).Name
		if free[name] || name == "Zones" { // zones have tests of their own
			continue
		}
		refused := false
		changed := *site
		changed.Vehicles = append([]Vehicle(nil), site.Vehicles...)
		for _, by := range []int{1, -1} {
			changed.Vehicles[0] = site.Vehicles[0]
			nudge(reflect.ValueOf(&changed.Vehicles[0].Config).Elem().FieldByIndex(path), by)
			refused = refused || Tighter(site, &changed) != nil || Tighter(&changed, site) != nil
		}
		if !refused {
			t.Errorf("no change of Config field %v (%s) is refused", path, name)
		}
	}
}

// leaves lists the index paths of all simple fields, and of arrays as a whole.
func leaves(typ reflect.Type, at []int) (all [][]int) {
	for i := range typ.NumField() {
		path := append(append([]int(nil), at...), i)
		if f := typ.Field(i); f.Type.Kind() == reflect.Struct {
			all = append(all, leaves(f.Type, path)...)
		} else {
			all = append(all, path)
		}
	}
	return all
}

// nudge changes a value a little, one way or the other.
func nudge(f reflect.Value, by int) {
	switch f.Kind() {
	case reflect.Float64:
		f.SetFloat(f.Float() + float64(by)*0.01)
	case reflect.Bool:
		f.SetBool(!f.Bool())
	case reflect.String:
		f.SetString(f.String() + "x")
	case reflect.Slice:
		f.Set(f.Slice(0, max(f.Len()-1, 0)))
	case reflect.Array:
		nudge(f.Index(1).Field(1), by)
	case reflect.Int, reflect.Int64:
		f.SetInt(f.Int() + int64(by))
	default:
		f.SetUint(f.Uint() + uint64(by))
	}
}

// TestTighterListsAll sees that all loosenings come at once, and nil sites are
// refused.
func TestTighterListsAll(t *testing.T) {
	full := text(t, "full.toml")
	next := changed(t, changed(t, changed(t, full, "radius = 0.22", "radius = 0.2"), "speed = 2.0", "speed = 2.5"), "radius = 0.3", "radius = 0.2")
	ps, ok := Tighter(mustQuickly(t, full), mustQuickly(t, next)).(Problems)
	if !ok || len(ps) != 4 { // the speed limit's default caution grows with it
		t.Errorf("%d problems: %v", len(ps), ps)
	}
	for _, p := range ps {
		if p.Next == "" || p.Value == "" || !strings.Contains(p.What, "was ") {
			t.Errorf("without value, old value or next step: %v", p)
		}
	}
	if Tighter(nil, &Site{}) == nil || Tighter(&Site{}, nil) == nil {
		t.Error("no site at all is taken")
	}
	if err := Tighter(mustQuickly(t, full), mustQuickly(t, full)); err != nil {
		t.Errorf("the same file is refused: %v", err)
	}
}
