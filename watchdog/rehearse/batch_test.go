package rehearse

import (
	"context"
	"encoding/json"
	"errors"
	"reflect"
	"strings"
	"testing"

	"pinfold/config"
)

// TestBatchIsTheRunsInOrder: on several processors a batch counts what one
// after the other comes to, in that order.
func TestBatchIsTheRunsInOrder(t *testing.T) {
	src, n := demoSource(t, 1), 2*turnSize+10
	want := many(t, src, 5, n, Options{})
	told := 0
	got, err := Batch{First: 5, Runs: n, Each: func(n int) { told += n }}.Make(context.Background(), src, 0.1)
	if err != nil || told != n {
		t.Fatalf("told of %d runs: %v", told, err)
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("a batch counts\n%+v\none after the other\n%+v", got, want)
	}
}

func TestBatchUntilLeak(t *testing.T) {
	src := demoSource(t, 0)
	src.Break = Break{Name: "no brakes", Braking: 0.9}
	got, err := Batch{First: 1, Runs: 100_000, UntilLeak: true}.Make(context.Background(), src, 0.1)
	if err != nil || got.Left == 0 || got.Runs > 2*turnSize {
		t.Errorf("%d runs, %d left: %v", got.Runs, got.Left, err)
	}
}

func TestBatchEnds(t *testing.T) {
	ctx, end := context.WithCancel(context.Background())
	end()
	if _, err := (Batch{First: 1, Runs: 1000}).Make(ctx, demoSource(t, 0), 0); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
}

// TestRehearse: the report of the demo is whole: every edge that can be reached,
// every what-if, no leak as declared, and a leak is one.
func TestRehearse(t *testing.T) {
	site := demoSite(t)
	rep, err := Rehearse(context.Background(), site, Plan{Runs: 200, WhatIf: 64, First: 1})
	if err != nil || !rep.OK() || len(rep.Vehicles) != 2 {
		t.Fatalf("%v: %+v", err, rep)
	}
	if _, err := json.Marshal(rep); err != nil {
		t.Errorf("no JSON: %v", err)
	}
	for _, v := range rep.Vehicles {
		var names []string
		for _, e := range v.Edges {
			names = append(names, e.Name)
			if e.Runs > 0 && e.Closest < v.Margin {
				t.Errorf("%s: %s has %.3f m", v.Name, e.Name, e.Closest)
			}
		}
		all := strings.Join(names, "; ")
		for _, want := range map[string][]string{"wren": {"cage, edge 1", "cage, edge 4", "post, edge 2", "limit of height"}, "mole": {"landing, edge 3", "stairs, edge 1"}}[v.Name] {
			if !strings.Contains(all, want) {
				t.Errorf("%s: nothing of %s in %s", v.Name, want, all)
			}
		}
		if o := v.WhatIf[0].Outcome; v.WhatIf[0].Break != "brakes 20 % weaker" || o.Short == 0 || !(o.Closest < v.Margin) {
			t.Errorf("%s: weaker brakes cost nothing of the margin: %+v", v.Name, v.WhatIf[0])
		}
		if len(v.WhatIf) != len(Breaks()) || v.Weak == nil || !(v.Weak.Lost > 0.02) {
			t.Errorf("%s: %d what-ifs, weak %+v", v.Name, len(v.WhatIf), v.Weak)
		}
	}
	rep.Vehicles[0].Outcome.Left = 1
	if rep.OK() {
		t.Error("a leak is fine")
	}
	if (&Report{}).OK() {
		t.Error("nothing is fine")
	}
}

// TestRehearseRefuses: nothing is promised where nothing is predicted.
func TestRehearseRefuses(t *testing.T) {
	site := demoSite(t)
	v := site.Vehicles[0]
	v.Config.Stopping.Predict = false
	if _, err := Rehearse(context.Background(), &config.Site{Vehicles: []config.Vehicle{v}}, Plan{Runs: 10}); err == nil || !strings.Contains(err.Error(), "predict is false") {
		t.Errorf("got %v", err)
	}
}
