package cli

import (
	"fmt"

	"pinfold/watchdog/link/sign"
)

type keyCmd struct {
	File string `arg:"" help:"File of the key; its owner alone may open it." placeholder:"FILE"`
	New  bool   `help:"Make a new key. A file that is there already is left alone."`
}

// Run makes a key or looks at one, and prints its fingerprint: the key itself is
// never printed.
func (c *keyCmd) Run(s *streams) error {
	if c.New {
		if err := sign.WriteKey(c.File, sign.NewKey()); err != nil {
			return err
		}
	}
	k, err := sign.ReadKey(c.File)
	if err != nil {
		return err
	}
	fmt.Fprintf(s.out, "%s: fingerprint %s\n", c.File, k.Fingerprint())
	return nil
}
