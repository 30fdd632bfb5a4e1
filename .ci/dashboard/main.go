// Command dashboard judges dashboard files by Grafana's own schema, as its
// foundation SDK has it: no field that Grafana does not know, none of the wrong
// type, none out of its range; panels and queries by the schema of their kind.
//
//	go run -modfile=.ci/grafana.mod ./.ci/dashboard monitoring/dashboard.json
package main

import (
	"errors"
	"fmt"
	"os"

	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/cog/plugins"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
)

func main() {
	plugins.RegisterDefaultPlugins()
	bad := len(os.Args) < 2
	for _, path := range os.Args[1:] {
		if err := judge(path); err != nil {
			bad = true
			fmt.Fprintf(os.Stderr, "%s: %v\n", path, err)
		}
	}
	if bad {
		os.Exit(1)
	}
}

func judge(path string) error {
	data, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	var d dashboard.Dashboard
	if err := mistakes(d.UnmarshalJSONStrict(data)); err != nil {
		return err
	}
	if err := mistakes(d.Validate()); err != nil {
		return err
	}
	if len(d.Panels) == 0 {
		return errors.New("no panels")
	}
	fmt.Printf("%s: %d panels and rows, %d variables\n", path, len(d.Panels), len(d.Templating.List))
	return nil
}

// mistakes gives every mistake with its place; the SDK may give an error that holds
// none.
func mistakes(err error) error {
	var all cog.BuildErrors
	if !errors.As(err, &all) {
		return err
	}
	lines := make([]error, len(all))
	for i, e := range all {
		lines[i] = e
	}
	return errors.Join(lines...)
}
