package app

import (
	"context"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pinfold/config"
)

// What keeps the console from being served keeps the guard from starting, with
// what to do about it, and leaves nothing behind.
func TestConsoleThatCannotBeServed(t *testing.T) {
	b := start(t)
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	short := filepath.Join(t.TempDir(), "token")
	if err := os.WriteFile(short, []byte("short\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		own  config.Console
		want string
	}{
		{config.Console{Listen: taken.Addr().String()}, "the console cannot listen: "},
		{config.Console{Listen: "127.0.0.1:0", TokenFile: short}, "the token has 5 bytes, and must have 16 to 256; make one with: openssl rand -hex 16"},
		{config.Console{Listen: "127.0.0.1:0", TokenFile: short + "-none"}, "see token_file in [console]"},
		{config.Console{Listen: "127.0.0.1:0", Cert: short, Key: short}, "see cert and key in [console]"},
	} {
		s := parse(t, b.URL())
		s.Console = c.own
		if _, err := Run(context.Background(), Options{Site: s, TrailDir: t.TempDir()}); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: %v, want %q", c.own, err, c.want)
		}
	}
}

// A report is made of a session that is there and of nothing else.
func TestPastSessionsByName(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"20261130T090000Z-1111", "20261130T100000Z-2222"} {
		if err := os.Mkdir(filepath.Join(dir, name), 0o700); err != nil {
			t.Fatal(err)
		}
	}
	r := &runner{session: Session{Folder: filepath.Join(dir, "20261130T100000Z-2222")}, now: func() time.Duration { return 3 * time.Second }}
	var asked []string
	r.opt.Console.Report = func(_ context.Context, folder string) ([]byte, error) {
		asked = append(asked, folder)
		return nil, nil
	}
	for _, id := range []string{"20261130T090000Z-1111", "20261130T100000Z-2222", "", ".", "..", "../..", "20261130T090000Z-1111/", "../" + filepath.Base(dir) + "/20261130T090000Z-1111"} {
		_, err := r.pastReport(context.Background(), id)
		if (err == nil) != slices.Contains([]string{"20261130T090000Z-1111", "20261130T100000Z-2222"}, id) {
			t.Errorf("%q: %v", id, err)
		}
	}
	if len(asked) != 2 || asked[0] != filepath.Join(dir, "20261130T090000Z-1111") || asked[1] != r.session.Folder {
		t.Errorf("reports were made of %q", asked)
	}
	all, err := r.past()
	if err != nil || len(all) != 2 || !all[0].Open || all[0].Seconds != 3 || all[1].ID != "20261130T090000Z-1111" || all[1].Open {
		t.Errorf("%+v, %v", all, err)
	}
}

// A site file that names the vehicles in another order swaps no vehicle's name on
// the page.
func TestPageKeepsTheOrderOfTheLoops(t *testing.T) {
	site := parse(t, "mqtt://127.0.0.1:1883")
	first := site.Vehicles[0]
	second := first
	second.Name, second.Config.Vehicle = "other", "other"
	site.Vehicles = []config.Vehicle{second, first} // as it was read again
	r := &runner{names: []string{first.Name, "other"}}
	r.opt.Site = site
	got := r.pageSite().Vehicles
	if len(got) != 2 || got[0].Name != first.Name || got[1].Name != "other" {
		t.Errorf("the page has %v", got)
	}
}
