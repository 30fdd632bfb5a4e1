package main

import (
	"bytes"
	"compress/gzip"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"pinfold/packaging/manual"
	"pinfold/packaging/ship"
	"pinfold/watchdog/cli"
)

// board is a processor a package is built for, by its name in Go and in Debian.
type board struct{ goarch, goarm, deb string }

var boards = []board{{"amd64", "", "amd64"}, {"arm64", "", "arm64"}, {"arm", "7", "armhf"}}

func main() {
	out := flag.String("out", "dist", "folder for programs and packages")
	version := flag.String("version", cli.Version, "version of all of them")
	only := flag.String("arch", "", "only for this processor: amd64, arm64 or arm")
	flag.Parse()
	if err := build(*out, *version, *only); err != nil {
		fmt.Fprintln(os.Stderr, "packaging:", err)
		os.Exit(2)
	}
}

func build(out, version, only string) error {
	if err := os.MkdirAll(out, 0o755); err != nil {
		return err
	}
	day := commitDay()
	if err := texts(out, version, day); err != nil {
		return err
	}
	done := 0
	for _, b := range boards {
		if only != "" && only != b.goarch {
			continue
		}
		done++
		if err := pack(out, version, day, b); err != nil {
			return err
		}
	}
	if done == 0 {
		return fmt.Errorf("--arch %q: must be amd64, arm64 or arm", only)
	}
	return nil
}

// commitDay is when the last commit was made, so that the same source makes the
// same package; today where there is no repository.
func commitDay() time.Time {
	if text, err := exec.Command("git", "log", "-1", "--format=%cI").Output(); err == nil {
		if day, err := time.Parse(time.RFC3339, strings.TrimSpace(string(text))); err == nil {
			return day.UTC()
		}
	}
	return time.Now().UTC().Truncate(24 * time.Hour)
}

// texts writes what is the same for every processor.
func texts(out, version string, day time.Time) error {
	app, err := cli.Model()
	if err != nil {
		return err
	}
	var page, bash bytes.Buffer
	if err := manual.Page(&page, app, version, day); err != nil {
		return err
	}
	if err := manual.Bash(&bash, app); err != nil {
		return err
	}
	keys, err := exec.Command("go", "doc", "./config").Output()
	if err != nil {
		return fmt.Errorf("go doc ./config, for the site file's keys: %w", err)
	}
	log, err := os.ReadFile("CHANGELOG.md")
	if err != nil {
		return fmt.Errorf("%w; run it from the root of the source", err)
	}
	if err := os.WriteFile(filepath.Join(out, "pinfold.bash"), bash.Bytes(), 0o644); err != nil {
		return err
	}
	for name, data := range map[string][]byte{"pinfold.1": page.Bytes(), "site.txt": keys, "changelog": log} {
		if err := zipped(filepath.Join(out, name+".gz"), data); err != nil {
			return err
		}
	}
	return nil
}

// zipped writes data compressed, without a name or time in it (gzip -n).
func zipped(path string, data []byte) error {
	var b bytes.Buffer
	w, err := gzip.NewWriterLevel(&b, gzip.BestCompression)
	if err != nil {
		return err
	}
	if _, err := w.Write(data); err != nil {
		return err
	}
	if err := w.Close(); err != nil {
		return err
	}
	return os.WriteFile(path, b.Bytes(), 0o644)
}

// pack builds the program for b, and its package.
func pack(out, version string, day time.Time, b board) error {
	stage := filepath.Join(out, "linux-"+b.goarch)
	if err := os.MkdirAll(stage, 0o755); err != nil {
		return err
	}
	program := filepath.Join(stage, "pinfold")
	if err := run(ship.Build(program, b.goarch, b.goarm, version)); err != nil {
		return err
	}
	for _, name := range []string{"pinfold.1.gz", "pinfold.bash", "site.txt.gz", "changelog.gz"} {
		data, err := os.ReadFile(filepath.Join(out, name))
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(stage, name), data, 0o644); err != nil {
			return err
		}
	}
	deb := filepath.Join(out, fmt.Sprintf("pinfold_%s_%s.deb", version, b.deb))
	conf := filepath.Join(stage, "nfpm.yaml")
	if err := fill("packaging/nfpm.yaml", conf, strings.NewReplacer("${STAGE}", stage, "${ARCH}", b.deb,
		"${VERSION}", version, "${MTIME}", day.Format(time.RFC3339))); err != nil {
		return err
	}
	c := exec.Command("go", "tool", "-modfile=packaging/nfpm.mod", "nfpm", "package", "--config", conf, "--packager", "deb", "--target", deb)
	if err := run(c); err != nil {
		return err
	}
	info, err := os.Stat(program)
	if err != nil {
		return err
	}
	fmt.Printf("%s  (program %.1f MB)\n", deb, float64(info.Size())/1e6)
	if info.Size() > most {
		return fmt.Errorf("the program for %s has %d bytes, more than %d; see in docs/board.md what takes them", b.deb, info.Size(), most)
	}
	return nil
}

// most is how many bytes the program may have on a board.
const most = 15_000_000

// fill writes from, its words replaced, to path.
func fill(from, path string, words *strings.Replacer) error {
	data, err := os.ReadFile(from)
	if err != nil {
		return err
	}
	return os.WriteFile(path, []byte(words.Replace(string(data))), 0o644)
}

// run runs c and, where it fails, gives what it printed.
func run(c *exec.Cmd) error {
	if out, err := c.CombinedOutput(); err != nil {
		return fmt.Errorf("%s: %w\n%s", strings.Join(c.Args, " "), err, out)
	}
	return nil
}
