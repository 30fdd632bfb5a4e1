package trail

import (
	"os"
	"path/filepath"
	"testing"
)

func TestPartOf(t *testing.T) {
	dir := t.TempDir()
	session, other := filepath.Join(dir, "s"), filepath.Join(dir, "other")
	for _, d := range []string{filepath.Join(session, filesName), filepath.Join(other, filesName)} {
		if err := os.MkdirAll(d, 0o700); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(filepath.Join(session, eventsName), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("s", filepath.Join(dir, "link")); err != nil {
		t.Fatal(err)
	}
	t.Chdir(session)
	for path, want := range map[string]bool{
		filepath.Join(session, eventsName):              true,
		filepath.Join(session, intakeName):              true, // lost, and not to be made anew
		filepath.Join(session, tornName):                true,
		filepath.Join(session, filesName, "site.toml"):  true,
		filepath.Join(dir, "link", eventsName):          true,
		filepath.Join(dir, "link", filesName, "a.json"): true,
		eventsName:                                true,
		filepath.Join(filesName, "site.toml"):     true,
		filepath.Join("..", "s", intakeName):      true,
		filepath.Join(session, "page.html"):       false,
		filepath.Join(other, intakeName):          false,
		filepath.Join(other, filesName, "a.json"): false,
		filepath.Join(dir, "none", eventsName):    false,
	} {
		if got := PartOf(path); got != want {
			t.Errorf("PartOf(%s) = %v, want %v", path, got, want)
		}
	}
}
