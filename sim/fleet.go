package sim

import (
	"fmt"
	"strings"
)

// MaxFleet bounds how many vehicles of one kind there may be.
const MaxFleet = 20

// fleetNames are those of n vehicles of a kind (Wren or Mole): the demo's own, and
// copies of it that are penned in by the same zones. They do not meet: each is
// alone in its simulation.
func fleetNames(kind string, n int) []string {
	names := []string{kind}
	for i := 2; i <= n; i++ {
		names = append(names, fmt.Sprintf("%s-%d", kind, i))
	}
	return names
}

// kindOf is Wren or Mole for one of their copies.
func kindOf(vehicle string) string {
	kind, _, _ := strings.Cut(vehicle, "-")
	return kind
}

// FleetSite is DemoSite with n vehicles of a kind, as RunFleet has them.
func FleetSite(url, kind string, n int) string {
	site, names := DemoSite(url), fleetNames(kind, n)
	own := fmt.Sprintf("vehicles = [%q]", kind)
	site = strings.ReplaceAll(site, own, fmt.Sprintf("vehicles = [%s]", `"`+strings.Join(names, `", "`)+`"`))
	_, block, _ := strings.Cut(site, fmt.Sprintf("[[vehicle]]\nname = %q\n", kind))
	block, _, _ = strings.Cut(block, "[[vehicle]]\n")
	for _, name := range names[1:] {
		site += fmt.Sprintf("\n[[vehicle]]\nname = %q\n%s", name, block)
	}
	return site
}
