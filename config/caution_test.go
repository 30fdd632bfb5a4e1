package config

import (
	"strings"
	"testing"
)

// TestCautions brings out every caution, alone where it can be, and sees that
// it does not stop the site from loading.
func TestCautions(t *testing.T) {
	sketch := text(t, "sketch.toml")
	aligned := changed(t, sketch, "[vehicle.limits]", "[vehicle.pose.align]\nx = 1\nresidual = 0.01\n[vehicle.limits]")
	quiet := changed(t, aligned, "margin = 0.10", "margin = 0.10\nacceleration = 0.1")
	if s := mustQuickly(t, quiet); len(s.Cautions) != 0 {
		t.Fatalf("a site with nothing to say about: %v", Problems(s.Cautions))
	}
	if s := mustQuickly(t, changed(t, quiet, "[broker]", "[console]\n[broker]")); len(s.Cautions) != 0 || s.Console.Listen != ConsoleListen {
		t.Errorf("a page for this machine alone: %+v, %v", s.Console, Problems(s.Cautions))
	}
	tall := strings.Replace(strings.Replace(quiet, "ceiling = 3.2", "ceiling = 150", 1), "height = 2.8", "height = 149", 1)
	fenced := strings.Replace(tall, "[broker]", "enclosed = true\n[broker]", 1)
	const air = "EU 2019/947 UAS.OPEN.010(2) names 120 m above the closest point of the surface, 14 CFR 107.51 names 400 ft above ground, and a local z is not height above ground"
	for _, c := range []struct{ text, line, want string }{
		{changed(t, quiet, "[broker]", "enclosed = false\n[broker]"), "4", "site.enclosed: is not true, and a place that is roofless or open at a side often counts as outdoors"},
		{strings.Replace(tall, "ceiling = 150", "ceiling = 12", 1), "1", "ask your own aviation authority and whoever answers for the site; Pinfold decides nothing here"},
		{fenced, "25", air},
		{changed(t, fenced, "height = 149\n", ""), "24", air},
		{changed(t, quiet, "127.0.0.1", "192.0.2.7"), "5", "crosses a network unencrypted"},
		{changed(t, quiet, "[broker]", "[console]\nlisten = \"0.0.0.0:8087\"\n[broker]"), "5", "whoever reaches it can watch and stop. Next: serve it on 127.0.0.1, or keep"},
		{changed(t, quiet, "[broker]", "[console]\nlisten = \"[2001:db8::7]:8087\"\ntoken_file = \"t\"\n[broker]"), "5", "whoever listens in can read the token"},
		{changed(t, quiet, "[broker]", "[console]\nlisten = \"0.0.0.0:8087\"\ntoken_file = \"t\"\ncert = \"c\"\nkey = \"k\"\n[broker]"), "5", "serves the page to a network: whoever reaches it can watch and stop. Next: keep that network"},
		{changed(t, quiet, "radius = 0.22", "radius = 0"), "15", "makes the vehicle a point"},
		{changed(t, quiet, "height = 0.12", "height = 0"), "16", "makes the vehicle a point"},
		{changed(t, quiet, "margin = 0.10", "predict = false"), "32", "a stop is called only when the vehicle is already over the edge"},
		{changed(t, quiet, `"150ms"`, `"0s"`), "30", "no vehicle begins to brake at once"},
		{changed(t, quiet, "margin = 0.10", "margin = 0"), "32", "the very edge"},
		{aligned, "29", "acceleration: is not declared"},
		{changed(t, quiet, "tilt = 25", "tilt = 10"), "31", "deceleration = 3: needs the vehicle to lean back by 17.0 deg"},
		{changed(t, changed(t, quiet, "tilt = 25", "tilt = 10"), "deceleration = 3.0", "tilt = 12"), "31", "stopping.tilt = 12: needs the vehicle to lean back by 12.0 deg"},
		{changed(t, quiet, "tilt = 25", `tilt = { max = 25, answer = "caution" }`), "28", "exceeding it never stops the vehicle"},
		{changed(t, quiet, "climb = 1.0\n", ""), "23", "limits.climb: has no limit"},
		{changed(t, quiet, "descent = 0.8\n", ""), "23", "limits.descent: has no limit"},
		{changed(t, sketch, "margin = 0.10", "margin = 0.10\nacceleration = 0.1"), "17", "the frame the tracker started in is taken for the site frame"},
		{changed(t, quiet, `max_age = "100ms"`, "max_age = \"300ms\"\n[vehicle.permit]\nvalid = \"400ms\""), "19", "lets the vehicle go on for 300ms without a pose"},
		{changed(t, quiet, `max_age = "100ms"`, "max_age = \"100ms\"\nmax_speed = 0"), "20", "a pose that jumps is not noticed"},
		{changed(t, quiet, `max_age = "100ms"`, "max_age = \"100ms\"\nfrozen_after = \"0s\""), "20", "a tracker that repeats its last pose is not noticed"},
		{changed(t, quiet, "floor = 0.0", "floor = -3.0"), "6", "it is judged exactly as written, and no floor is assumed"},
	} {
		s := mustQuickly(t, c.text)
		said := Problems(s.Cautions)
		if !strings.Contains(said.Error(), c.want) || !strings.Contains(said.Error(), "site.toml:"+c.line+": ") {
			t.Errorf("no caution %q on line %s in:\n%v", c.want, c.line, said)
		}
		for _, p := range said {
			if p.What == "" || p.Next == "" || p.File != "site.toml" || p.Line == 0 {
				t.Errorf("a caution without place or next step: %+v", p)
			}
		}
	}
}
