// Package ship builds the program as it is shipped: static, small, the same from
// the same source.
//
// What may enter: how the program is compiled and linked. What may not: what is
// packed beside it.
package ship

import (
	"os"
	"os/exec"
	"runtime"
)

// Version is the linker's name of the program's version.
const Version = "pinfold/watchdog/cli.Version"

// cold is what runs at the start, at a person's pace or not at all while a vehicle
// is guarded: it is compiled without inlining, which makes the program smaller by
// 1.3 MB. What judges, carries messages, compresses and signs is not among it.
var cold = []string{
	"compress/...", "context", "crypto/ecdsa", "crypto/rsa", "crypto/tls/...", "crypto/x509/...", "encoding/asn1",
	"encoding/json", "expvar", "flag", "fmt", "go/...", "html/...", "log/...", "math/big", "mime/...", "net/...",
	"os/...", "reflect", "regexp/...", "syscall", "text/...", "vendor/...",
	"github.com/BurntSushi/...", "github.com/alecthomas/...", "github.com/beorn7/...", "github.com/coreos/...",
	"github.com/eclipse/...", "github.com/gorilla/...", "github.com/mochi-mqtt/...", "github.com/munnerz/...",
	"github.com/prometheus/...", "github.com/rs/...", "golang.org/x/net/...",
	"pinfold/config", "pinfold/sim", "pinfold/watchdog/app", "pinfold/watchdog/cli", "pinfold/watchdog/console/...",
	"pinfold/watchdog/draw", "pinfold/watchdog/relay", "pinfold/watchdog/review/...", "pinfold/watchdog/survey",
	"pinfold/watchdog/walk",
}

// Build is the command that builds the program at path, for a processor by its
// names in Go (none: this machine's), with a version where one is given. Run it in
// the root of the source.
//
// The tag leaves HTTP/2 out of net/http, which the plain HTTP of console and
// metrics never speaks: 0.4 MB. On amd64 functions stand on 16 bytes, as they do on
// arm64 by themselves, instead of 32: 0.2 MB.
func Build(path, goarch, goarm, version string) *exec.Cmd {
	link := "-s -w"
	if goarch == "amd64" || goarch == "" && runtime.GOARCH == "amd64" {
		link += " -funcalign=16"
	}
	if version != "" {
		link += " -X " + Version + "=" + version
	}
	args := []string{"build", "-trimpath", "-buildvcs=false", "-tags", "nethttpomithttp2", "-ldflags", link, "-o", path}
	for _, pattern := range cold {
		args = append(args, "-gcflags="+pattern+"=-l")
	}
	c := exec.Command("go", append(args, ".")...)
	c.Env = append(os.Environ(), "CGO_ENABLED=0")
	if goarch != "" {
		c.Env = append(c.Env, "GOOS=linux", "GOARCH="+goarch, "GOARM="+goarm)
	}
	return c
}
