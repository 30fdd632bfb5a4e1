package metrics

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

const (
	alertsFile    = "../../../monitoring/alerts.yml"
	dashboardFile = "../../../monitoring/dashboard.json"
)

// The alarm rules and the dashboard ask for nothing that no guard tells.
func TestFilesAskForWhatIsTold(t *testing.T) {
	s := newStage(t)
	s.Watch(0, flying())
	s.Beat(0, s.now)
	s.Judged(0, 1)
	s.trail.Free = 5
	_, text := s.get(t, "/metrics")
	for _, file := range []string{alertsFile, dashboardFile} {
		b, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		names := regexp.MustCompile(`\b(pinfold|process|go)_[a-z_]+`).FindAllString(string(b), -1)
		if len(names) < 8 {
			t.Fatalf("%s: only %d names", file, len(names))
		}
		for _, n := range names {
			if !strings.Contains(text, "\n"+n+"{") && !strings.Contains(text, "\n"+n+" ") {
				t.Errorf("%s asks for %s, which is not told", file, n)
			}
		}
	}
}

func TestDashboardIsWhole(t *testing.T) {
	b, err := os.ReadFile(dashboardFile)
	if err != nil {
		t.Fatal(err)
	}
	var d struct {
		UID    string `json:"uid"`
		Panels []struct {
			ID      int    `json:"id"`
			Title   string `json:"title"`
			Targets []struct {
				Expr string `json:"expr"`
			} `json:"targets"`
		} `json:"panels"`
	}
	if err := json.Unmarshal(b, &d); err != nil {
		t.Fatal(err)
	}
	ids := map[int]bool{}
	for _, p := range d.Panels {
		if ids[p.ID] || p.Title == "" || len(p.Targets) == 0 || p.Targets[0].Expr == "" {
			t.Errorf("panel %d %q is not whole", p.ID, p.Title)
		}
		ids[p.ID] = true
	}
	if len(d.Panels) < 8 || d.UID == "" {
		t.Errorf("%d panels, uid %q", len(d.Panels), d.UID)
	}
}

// Prometheus's own tool takes the rules, and what a guard tells.
func TestPromtoolTakesThem(t *testing.T) {
	tool, err := exec.LookPath("promtool")
	if err != nil {
		t.Skip("promtool is not installed; install it (Debian: apt-get install prometheus) to run this test")
	}
	if out, err := exec.Command(tool, "check", "rules", alertsFile).CombinedOutput(); err != nil || !strings.Contains(string(out), "rules found") {
		t.Errorf("rules: %v %s", err, out)
	}
	if out, err := exec.Command(tool, "check", "rules", asRules(t)).CombinedOutput(); err != nil || !strings.Contains(string(out), "rules found") {
		t.Errorf("the dashboard's queries: %v %s", err, out)
	}
	s := newStage(t)
	s.Watch(0, flying())
	_, text := s.get(t, "/metrics")
	cmd := exec.Command(tool, "check", "metrics")
	cmd.Stdin = strings.NewReader(text)
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Errorf("metrics: %v %s", err, out)
	}
}

// asRules makes a rule of every query of the dashboard, so that promtool reads it as
// Prometheus would; Grafana's own words are replaced as Grafana does.
func asRules(t *testing.T) string {
	b, err := os.ReadFile(dashboardFile)
	if err != nil {
		t.Fatal(err)
	}
	found := regexp.MustCompile(`"expr": ("(?:[^"\\]|\\.)*")`).FindAllSubmatch(b, -1)
	if len(found) < 12 {
		t.Fatalf("%d queries in the dashboard", len(found))
	}
	words := strings.NewReplacer("$__rate_interval", "1m", "$vehicle", "wren|mole")
	rules := "groups:\n- name: dashboard\n  rules:\n"
	for i, f := range found {
		rules += fmt.Sprintf("  - {record: q%d, expr: %s}\n", i, words.Replace(string(f[1]))) // JSON is YAML
	}
	path := filepath.Join(t.TempDir(), "rules.yml")
	if err := os.WriteFile(path, []byte(rules), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}
