//go:build walk

package cli

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"pinfold/sim"
	"pinfold/watchdog/link/mosquittotest"
)

// The rover of the demo's site, carried along all of its landing and round the
// head of the stairs; prints what docs/rehearse-walk.md shows. A minute and a half
// at a person's pace, so only where it is asked for: go test -tags walk.
func TestWalkOfTheDemosRover(t *testing.T) {
	b := mosquittotest.Start(t)
	p := newPerson(t, b.URL, sim.Mole, sim.Vec{X: 9.4, Y: 1.3, Z: 0.2})
	p.pace = 0.6
	east, north := sim.Vec{X: 13.8, Y: 1.2, Z: 0.2}, sim.Vec{X: 13.8, Y: 3.2, Z: 0.2}
	p.route = map[int][]sim.Vec{2: {east}, 3: {{X: 9.4, Y: 2.6, Z: 0.2}}, 5: {{X: 11.8, Y: 1.2, Z: 0.2}}, 6: {east, north}, 7: {{X: 9.4, Y: 3.2, Z: 0.2}}}
	dir := t.TempDir()
	site := filepath.Join(dir, "site.toml")
	if err := os.WriteFile(site, []byte(sim.DemoSite(b.URL)), 0o600); err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	code := Main([]string{"rehearse", "--walk", "--site", site, "--vehicle", "mole", "--by", "Wanda", "--wait", "3m", "--trail", filepath.Join(dir, "trail")}, nil, &out, p)
	t.Logf("exit status %d\n%s%s", code, p.printed(), out.String())
	if code != exitFine {
		t.Error("not everything was walked")
	}
}
