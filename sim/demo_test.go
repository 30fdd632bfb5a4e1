package sim

import (
	"os/exec"
	"slices"
	"strings"
	"testing"

	"github.com/BurntSushi/toml"

	"pinfold/sim/judge"
)

// siteFile is what this test reads of the demo's site file.
type siteFile struct {
	Site struct {
		Name       string
		LocalRules string `toml:"local_rules"`
	}
	Broker struct{ URL string }
	Zone   []struct {
		Name, Kind     string
		Vehicles       []string
		Floor, Ceiling float64
		Polygon        [][2]float64
	}
	Vehicle []struct {
		Name, Kind     string
		Radius, Height float64
	}
}

// The zones of the site file and the judge's pens are written down twice; they
// must say the same, and so must the bodies and the vehicles.
func TestDemoSiteAndPensAgree(t *testing.T) {
	var f siteFile
	if _, err := toml.Decode(DemoSite("mqtt://127.0.0.1:1"), &f); err != nil {
		t.Fatal(err)
	}
	if f.Broker.URL != "mqtt://127.0.0.1:1" || f.Site.Name != DemoSiteName || f.Site.LocalRules == "" {
		t.Errorf("site %+v, broker %+v", f.Site, f.Broker)
	}
	if len(f.Vehicle) != 2 || len(f.Zone) != 4 {
		t.Fatalf("%d vehicles, %d zones", len(f.Vehicle), len(f.Zone))
	}
	for _, v := range f.Vehicle {
		pen, ok := DemoPens()[v.Name]
		if !ok {
			t.Fatalf("no pen for %q", v.Name)
		}
		if v.Radius != pen.Radius || v.Height != pen.Below+pen.Above {
			t.Errorf("%s: body %v by %v m in the site file, %+v for the judge", v.Name, v.Radius, v.Height, pen)
		}
		zones := 0
		for _, z := range f.Zone {
			if !slices.Contains(z.Vehicles, v.Name) {
				continue
			}
			zones++
			list := pen.Inside
			if z.Kind == "keep-out" {
				list = pen.Outside
			}
			i := slices.IndexFunc(list, func(r judge.Region) bool { return r.Name == z.Name })
			if i < 0 || list[i].Floor != z.Floor || list[i].Ceiling != z.Ceiling || !slices.Equal(list[i].Outer, z.Polygon) {
				t.Errorf("%s: the judge does not have zone %+v", v.Name, z)
			}
		}
		if zones != len(pen.Inside)+len(pen.Outside) {
			t.Errorf("%s: %d zones, the judge has %+v", v.Name, zones, pen)
		}
	}
}

// The demo's vehicles start inside their pens, and their clocks differ.
func TestDemoNodes(t *testing.T) {
	clocks := map[int64]bool{}
	for _, v := range []string{Wren, Mole} {
		r, err := newRig(DemoNode(v, "", "", 1))
		if err != nil {
			t.Fatal(err)
		}
		if r.room < 0.3 {
			t.Errorf("%s starts with %.2f m of room", v, r.room)
		}
		clocks[int64(r.clock())] = true
	}
	if len(clocks) != 2 {
		t.Error("the two vehicles share a clock")
	}
}

// Of this module the simulation knows the vehicle's half of the contract and
// the MQTT client, and nothing of what it is to check.
func TestImports(t *testing.T) {
	out, err := exec.Command("go", "list", "-deps", "-test=false", ".").Output()
	if err != nil {
		t.Skipf("go list is not available: %v", err)
	}
	allowed := []string{"pinfold/sim", "pinfold/sim/broker", "pinfold/sim/judge",
		"pinfold/watchdog/link", "pinfold/watchdog/link/receiver", "pinfold/watchdog/link/sign", "pinfold/watchdog/link/wire"}
	seen := 0
	for _, p := range strings.Fields(string(out)) {
		if !strings.HasPrefix(p, "pinfold/") {
			continue
		}
		seen++
		if !slices.Contains(allowed, p) {
			t.Errorf("imports %s", p)
		}
	}
	if seen < len(allowed) {
		t.Errorf("only %d of %d packages seen", seen, len(allowed))
	}
}

// The quaternions turn as their names say.
func TestQuaternions(t *testing.T) {
	q := Leaning(Vec{X: 0.3, Y: 0.4}, 1.1)
	near(t, "tilt, rad", q.Tilt(), 0.5, 1e-12)
	near(t, "heading of a level body, rad", yawOf(Yawed(1.1)), 1.1, 1e-12)
	up := q.Up()
	near(t, "direction of the lean", up.Y/up.X, 4.0/3, 1e-9)
	near(t, "length of up", up.Len(), 1, 1e-12)
	v := Vec{1, 2, 3}
	near(t, "length kept by a turn", q.rotate(v).Len(), v.Len(), 1e-12)
	if r := Yawed(3.141592653589793 / 2).rotate(Vec{X: 1}); r.Sub(Vec{Y: 1}).Len() > 1e-12 {
		t.Errorf("a quarter turn of x is %v", r)
	}
}
