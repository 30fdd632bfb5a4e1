// Command pinfold keeps a small vehicle in its pen. See README.md.
package main

import (
	"os"

	"pinfold/watchdog/cli"
)

func main() { os.Exit(cli.Main(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) }
