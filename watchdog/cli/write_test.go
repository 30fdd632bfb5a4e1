package cli

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A file that is replaced keeps its mode; a link to it stays a link.
func TestReplacedFileKeepsWhatItIs(t *testing.T) {
	dir := t.TempDir()
	file, link := filepath.Join(dir, "real.json"), filepath.Join(dir, "link.json")
	if err := os.WriteFile(file, []byte("old"), 0o640); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("real.json", link); err != nil {
		t.Fatal(err)
	}
	if err := replaceFile(link, []byte("new")); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(file)
	if err != nil || string(data) != "new" {
		t.Errorf("%q, %v: the link was not followed", data, err)
	}
	info, err := os.Lstat(file)
	if err != nil || info.Mode() != 0o640 {
		t.Errorf("mode %v, %v", info.Mode(), err)
	}
	if to, err := os.Readlink(link); err != nil || to != "real.json" {
		t.Errorf("the link is %q, %v", to, err)
	}
	fresh := filepath.Join(dir, "fresh.json")
	if err := replaceFile(fresh, []byte("new")); err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(fresh); err != nil || info.Mode() != 0o644 {
		t.Errorf("a new file: %v, %v", info, err)
	}
}

func TestFilesThatAreNotReplaced(t *testing.T) {
	dir := t.TempDir()
	loose := filepath.Join(dir, "loose.json")
	if err := os.Symlink("nowhere.json", loose); err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]string{loose: "leads nowhere", dir: "is not a file", filepath.Join(dir, "none", "x"): "no such file"} {
		if err := replaceFile(path, []byte("new")); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", path, err, want)
		}
	}
	if entries, err := os.ReadDir(dir); err != nil || len(entries) != 1 {
		t.Errorf("left behind: %v, %v", entries, err)
	}
}

// What review writes never takes the place of evidence, of a file that is no
// page, or of the site file that it learns for.
func TestReviewWritesOverNothingElse(t *testing.T) {
	session, dir := madeSession(t, 1.0), t.TempDir()
	site := tempFile(t, dir, "site.toml", madeHall)
	link := filepath.Join(dir, "link.toml")
	if err := os.Link(site, link); err != nil {
		t.Fatal(err)
	}
	before := bytesBelow(t, filepath.Dir(session), dir)
	for _, c := range []struct {
		want string
		args []string
	}{
		{"part of a session's trail", []string{"--html", filepath.Join(session, "events.jsonl")}},
		{"part of a session's trail", []string{"--html", filepath.Join(session, "files", "site.toml")}},
		{"part of a session's trail", []string{"--html", filepath.Join(session, "files", "new.html")}},
		{"part of a session's trail", []string{"--export", "csv", "--out", filepath.Join(session, "intake.pfi"), "--replace"}},
		{"part of a session's trail", []string{"--learn", site, "--out", filepath.Join(session, "events.jsonl"), "--replace"}},
		{"is no page", []string{"--html", site}},
		{"is the site file itself", []string{"--learn", site, "--out", site, "--replace"}},
		{"is the site file itself", []string{"--learn", site, "--out", link, "--replace"}},
	} {
		if code, _, errs := pinfold(append([]string{"review", session}, c.args...)...); code != exitError || !strings.Contains(errs, c.want) {
			t.Errorf("%v: exit %d, %q, want %q", c.args, code, errs, c.want)
		}
	}
	if after := bytesBelow(t, filepath.Dir(session), dir); after != before {
		t.Error("something was written")
	}
	for range 2 { // a page may be made again, also over an empty file
		if code, _, errs := pinfold("review", session, "--html", tempFile(t, dir, "page.html", "")); code != exitFine {
			t.Errorf("a page: exit %d, %q", code, errs)
		}
		if code, _, errs := pinfold("review", session, "--html", filepath.Join(dir, "page.html")); code != exitFine {
			t.Errorf("a page once more: exit %d, %q", code, errs)
		}
	}
}

// bytesBelow is every file in some folders, with what it holds.
func bytesBelow(t *testing.T, dirs ...string) string {
	t.Helper()
	var b strings.Builder
	for _, dir := range dirs {
		err := filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
			if err != nil || e.IsDir() {
				return err
			}
			data, err := os.ReadFile(path)
			fmt.Fprintf(&b, "%s %q\n", path, data)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	return b.String()
}
