package cli

import (
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
