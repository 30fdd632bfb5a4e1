package console

import (
	"crypto/sha256"
	"encoding/hex"
	"io/fs"
	"regexp"
	"strings"
	"testing"
)

// The page's files are all served, and none of them asks anybody outside. What
// the browser itself makes of it is looked at in a browser (watchdog/cli).
func TestPageIsWhole(t *testing.T) {
	served := files()
	served["index.html"] = "text/html"
	outside := regexp.MustCompile(`(?i)(https?:)?//[a-z0-9][a-z0-9.-]*\.[a-z]{2,}`)
	n := 0
	err := fs.WalkDir(page, "page", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		name := strings.TrimPrefix(path, "page/")
		if _, ok := served[name]; !ok {
			if name != "uplot/LICENSE" && name != "uplot/README.md" {
				t.Errorf("%s is never served", name)
			}
			return nil
		}
		n++
		b, err := page.ReadFile(path)
		if err != nil {
			return err
		}
		for _, at := range outside.FindAllString(string(b), -1) {
			if !strings.HasSuffix(at, "//www.w3.org") && !strings.HasPrefix(name, "uplot/") { // a namespace; a comment with the library's home
				t.Errorf("%s names %s", name, at)
			}
		}
		if strings.Contains(string(b), "innerHTML") {
			t.Errorf("%s writes markup", name)
		}
		return nil
	})
	if err != nil || n != len(served) {
		t.Errorf("%d of %d files are there: %v", n, len(served), err)
	}
}

// The vendored library is the one that its README says.
func TestVendoredFilesAreTheReleased(t *testing.T) {
	readme, err := page.ReadFile("page/uplot/README.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"uPlot.iife.min.js", "uPlot.min.css", "LICENSE"} {
		b, err := page.ReadFile("page/uplot/" + name)
		if err != nil {
			t.Fatal(err)
		}
		sum := sha256.Sum256(b)
		if line := hex.EncodeToString(sum[:]) + "  " + name; !strings.Contains(string(readme), line) {
			t.Errorf("README.md does not have: %s", line)
		}
	}
}
