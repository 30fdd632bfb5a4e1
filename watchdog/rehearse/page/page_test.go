package page

import (
	"bytes"
	"context"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pinfold/config"
	"pinfold/sim"
	"pinfold/watchdog/console/browsertest"
	"pinfold/watchdog/rehearse"
)

// rehearsal is a rehearsal of the demo, with leaks and a name that would break a
// page that did not escape it.
func rehearsal(t *testing.T, broken string) *rehearse.Report {
	t.Helper()
	text := strings.ReplaceAll(sim.DemoSite("mqtt://127.0.0.1:1"), "Brackenfield", `Brackenfield <script>&`)
	site, err := config.Parse("demo.toml", []byte(text), func(string) ([]byte, error) { return nil, os.ErrNotExist })
	if err != nil {
		t.Fatal(err)
	}
	plan := rehearse.Plan{Runs: 200, WhatIf: 80, First: 1}
	if broken != "" {
		if plan.Break, err = rehearse.ParseBreak(broken); err != nil {
			t.Fatal(err)
		}
	}
	rep, err := rehearse.Rehearse(context.Background(), site, plan)
	if err != nil {
		t.Fatal(err)
	}
	rep.Safety = "Local aviation rules come first."
	return rep
}

func written(t *testing.T, rep *rehearse.Report) string {
	t.Helper()
	var b bytes.Buffer
	if err := Write(&b, rep); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// TestPageIsWellFormed: a strict XML reader takes it, with and without leaks, and
// it needs nothing beside it.
func TestPageIsWellFormed(t *testing.T) {
	for _, broken := range []string{"", "braking=60%"} {
		p := written(t, rehearsal(t, broken))
		for d := xml.NewDecoder(strings.NewReader(p)); ; {
			if _, err := d.Token(); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				t.Fatal(err)
			}
		}
		for _, bad := range []string{"http:", "https:", " src=", "@import", "<script", "NaN", "Inf", "<no value>"} {
			if strings.Contains(p, bad) {
				t.Errorf("%q: the page holds %q", broken, bad)
			}
		}
		for _, want := range []string{"Local aviation rules come first.", "What this cannot say"} {
			if !strings.Contains(p, want) {
				t.Errorf("%q: the page lacks %q", broken, want)
			}
		}
		if leaks := strings.Contains(p, "NOT CONTAINED") && strings.Contains(p, `class="bad" x=`); leaks != (broken != "") {
			t.Errorf("%q: leaks on the page: %v", broken, leaks)
		}
	}
}

// TestPageInChromium: a real browser complains of nothing, and what stands in the
// tables it shows are the numbers of the JSON document.
func TestPageInChromium(t *testing.T) {
	if testing.Short() {
		t.Skip("a browser takes seconds")
	}
	for _, broken := range []string{"", "braking=60%"} {
		rep := rehearsal(t, broken)
		file := filepath.Join(t.TempDir(), "page.html")
		if err := os.WriteFile(file, []byte(written(t, rep)), 0o600); err != nil {
			t.Fatal(err)
		}
		p := browsertest.Open(t, file, 1000, 800)
		raw, err := json.Marshal(rep)
		if err != nil {
			t.Fatal(err)
		}
		p.Wait("the tables hold the JSON's numbers", fmt.Sprintf("(%s)(%s)", compares, raw), 10*time.Second)
		other := bytes.Replace(raw, []byte(`"median":0.0`), []byte(`"median":0.9`), 1)
		p.Wait("another number is told apart", fmt.Sprintf("!(%s)(%s)", compares, other), 10*time.Second)
		p.Wait("nothing is wider than the page", `document.documentElement.scrollWidth <= window.innerWidth`, 10*time.Second)
		p.Shot("rehearsal" + strings.Trim(broken, "=%0123456789"))
		p.Quiet()
	}
}

// compares says in the browser whether the page shows what a report says.
const compares = `rep => rep.vehicles.every(v => {
	const s = [...document.querySelectorAll("section")].find(e => e.dataset.vehicle === v.name);
	const cells = t => [...s.querySelectorAll("table." + t + " tbody tr")].map(r => [...r.cells].map(c => c.innerText.trim()));
	const m = x => x.toFixed(3) + " m", cm = x => (100 * x).toFixed(1) + " cm";
	const same = (a, b) => JSON.stringify(a) === JSON.stringify(b);
	const edges = cells("edges").map(r => r.length < 6 ? r.slice(0, 2) : [...r.slice(0, 5), r[5].split("\n")[0]]);
	const whatif = cells("whatif").map(r => [...r.slice(1, 7)]);
	return same(edges, v.edges.map(e => e.runs ? [e.name, "" + e.runs, m(e.closest), "" + e.left, "" + e.short, e.run] : [e.name, "0"]))
		&& same(whatif, (v.what_if || []).map(w => [w.key, "" + w.outcome.runs, w.outcome.left + (w.outcome.over ? " + " + w.outcome.over : ""),
			"" + w.outcome.short, w.outcome.first_after ? "run " + w.outcome.first_after : "none", m(w.outcome.closest)]))
		&& same(cells("leaks").map(r => r[0]), v.leaks.map(l => l.run))
		&& same(cells("room").map(r => r.slice(1)), [v.room.as_declared, v.room.worst, v.room.all].map(p => ["" + p.runs, cm(p.median), cm(p.most), cm(p.stopping)]))
		&& s.querySelector(".left-pen").innerText === "" + v.as_declared.left
		&& s.querySelectorAll("svg.plan .bad").length > 0 === v.as_declared.left + v.as_declared.over + v.as_declared.short > 0;
})`

// TestPageHasPairs: two that are kept apart have a section, with the leaks where
// there were any, and with what was not shown; a strict XML reader takes it.
func TestPageHasPairs(t *testing.T) {
	rep := rehearsal(t, "")
	rep.Pairs = []rehearse.Pair{
		{Names: [2]string{"wren", "mole"}, Distance: 0.5, Yields: "mole", Lead: 0.3, Runs: 80, Stops: 60, Both: 20, Led: 43, First: 41, Near: 1, Closest: 0.443,
			Seed: 66, Leaks: []rehearse.PairResult{{Seed: 66, Meeting: "chase", Near: true, Short: 0.057}}},
		{Names: [2]string{"wren", "<kite>"}, Distance: 0.5, Runs: 80, Closest: 31},
		{Names: [2]string{"mole", "kite"}, Distance: 0.5, Void: 80},
	}
	p := written(t, rep)
	for _, want := range []string{"wren and mole, to be kept 0.500 m apart", "0.057 m", "--pair wren,mole", "NOT CONTAINED", "none was stopped for the other", "no run was made", "&lt;kite&gt;"} {
		if !strings.Contains(p, want) {
			t.Errorf("nothing of %q in the page", want)
		}
	}
	for d := xml.NewDecoder(strings.NewReader(p)); ; {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
	}
}
