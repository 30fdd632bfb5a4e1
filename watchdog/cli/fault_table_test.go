package cli

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"pinfold/sim/faults"
	"pinfold/watchdog"
	"pinfold/watchdog/link/brokerproc"
)

// faultRuns is how often each row is run.
func faultRuns(t *testing.T) int {
	n, err := strconv.Atoi(cmp.Or(os.Getenv("PINFOLD_FAULTS"), "1"))
	if err != nil || n < 1 {
		t.Fatalf("PINFOLD_FAULTS=%q; give how often each row is run", os.Getenv("PINFOLD_FAULTS"))
	}
	return n
}

// faultSetting is the program as it is built, with mosquitto.
func faultSetting(t *testing.T) faults.Setting {
	t.Helper()
	if brokerproc.Find() == "" {
		t.Skip("mosquitto is not installed; install it (Debian: apt-get install mosquitto) to run this test")
	}
	path, err := program()
	if err != nil {
		t.Fatal(err)
	}
	return faults.Setting{Program: path, Dir: t.TempDir()}
}

// The permit's own age is the only stop that always works: with the guard or
// the broker gone the vehicle brakes within the permit's validity, and is at
// rest within that plus its own braking, by its own clock. PINFOLD_FAULTS=50 runs
// all rows, each so often, and prints the table of docs/faults.md, as
// pinfold rehearse --faults --runs 50 does.
func TestVehicleHaltsWhateverDies(t *testing.T) {
	p := faults.Plan{Setting: faultSetting(t), Valid: watchdog.DefaultTiming().PermitValid, Runs: faultRuns(t), Fleet: faultFleet, Parallel: faultWorlds}
	if p.Runs == 1 {
		p.Quick = 1
	}
	if testing.Short() {
		p.Quick = 2
	}
	rep, err := faults.Run(t.Context(), p)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("\n%s", faultTable(rep))
	if !rep.OK() {
		t.Errorf("over a bound, or not measured: %+v", rep.Rows)
	}
}

// The command prints the table by the program itself, says which broker it was,
// and knows no fault that there is not.
func TestRehearseFaults(t *testing.T) {
	t.Parallel()
	path, err := program()
	if err != nil {
		t.Fatal(err)
	}
	p := faults.Plan{Setting: faults.Setting{Program: path, Embedded: true, Dir: t.TempDir()}, Valid: watchdog.DefaultTiming().PermitValid, Runs: 1, Only: "broker SIGKILLed"}
	rep, err := faults.Run(t.Context(), p)
	if err != nil || !rep.OK() || !strings.Contains(rep.Broker, "embedded") {
		t.Fatalf("%v: %+v", err, rep)
	}
	run := start(t, "rehearse", "--faults", "--fault", "pose freezes", "--json")
	code := run.wait(90 * time.Second)
	text := run.text()
	var d struct {
		OK   bool            `json:"ok"`
		Rows []faults.Result `json:"rows"`
	}
	if from := strings.Index(text, "{"); code != exitFine || from < 0 || json.Unmarshal([]byte(text[from:]), &d) != nil || !d.OK || len(d.Rows) != 1 {
		t.Errorf("exit status %d, %+v: %s", code, d, text)
	}
	if code, _, errs := pinfold("rehearse", "--faults", "--fault", "moon falls"); code != exitError || !strings.Contains(errs, "guard SIGKILLed") {
		t.Errorf("%d: %s", code, errs)
	}
	if code, _, errs := pinfold("rehearse"); code != exitError || !strings.Contains(errs, "--site") {
		t.Errorf("without a site: %d %s", code, errs)
	}
}

// TestFaultsCanFail: a bound that is passed, a wrong reason and a row without a
// run are each found.
func TestFaultsCanFail(t *testing.T) {
	valid := watchdog.DefaultTiming().PermitValid
	rep := &faults.Report{Runs: 3, Rows: []faults.Result{{Runs: 3}}}
	if !rep.OK() {
		t.Error("a good one is not")
	}
	for name, bad := range map[string]faults.Result{"over": {Runs: 3, Over: 1}, "wrong": {Runs: 3, Wrong: []string{"x"}}, "none": {}, "too few": {Runs: 2}} {
		if r := (&faults.Report{Runs: 3, Rows: []faults.Result{{Runs: 3}, bad}}); r.OK() {
			t.Errorf("%s is fine", name)
		}
	}
	rows := faults.Rows(valid)
	i := slices.IndexFunc(rows, func(r faults.Row) bool { return r.Name == "broker SIGKILLed" })
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := rows[i].Measure(ctx, faults.Setting{Program: "/nowhere", Dir: t.TempDir()}, valid, 2, 1); err == nil {
		t.Errorf("a program that is not there: %v", err)
	}
	if names := faults.Names(valid); len(names) < 20 || len(fmt.Sprint(names)) == 0 {
		t.Errorf("%d faults", len(names))
	}
}
