package cli

import (
	"bytes"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/coreos/go-systemd/v22/journal"

	"pinfold/watchdog/app"
	"pinfold/watchdog/link/mosquittotest"
)

// brokerSite writes a site file whose [broker] has these lines too.
func brokerSite(t *testing.T, url string, lines ...string) string {
	t.Helper()
	path := writeSite(t, "", url, 2.8)
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	broker := "[broker]\n" + strings.Join(lines, "\n") + "\n"
	return keep(t, path, strings.Replace(string(text), "[broker]\n", broker, 1))
}

func keep(t *testing.T, path, text string) string {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// TestRunSaysWhyThereIsNoBroker: the guard goes on trying, permits nothing, and
// says why and what to try. Whoever asks it is told the same.
func TestRunSaysWhyThereIsNoBroker(t *testing.T) {
	dir := t.TempDir()
	cert, key := mosquittotest.Certificate(t)
	other, _ := mosquittotest.Certificate(t)
	in := func(name, text string) string { return keep(t, filepath.Join(dir, name), text) }
	closed := mosquittotest.Start(t, "allow_anonymous false")
	secret := mosquittotest.Start(t, "allow_anonymous true", "certfile "+in("cert", cert), "keyfile "+in("key", key))
	dead := mosquittotest.Start(t)
	dead.Kill()
	for _, c := range []struct{ name, site, why, next string }{
		{"missing", brokerSite(t, dead.URL), "connection refused", "is the broker running, and is this its address?"},
		{"password", brokerSite(t, closed.URL, `user = "guard"`, fmt.Sprintf("password_file = %q", in("pw", "wrong\n"))),
			"does not accept this user and password", "see user and password_file in [broker]"},
		{"authority", brokerSite(t, strings.Replace(secret.URL, "mqtt:", "mqtts:", 1), fmt.Sprintf("ca = %q", in("other", other))),
			"certificate", "see ca in [broker]"},
		{"plain", brokerSite(t, strings.Replace(closed.URL, "mqtt:", "mqtts:", 1)), "", "begins with mqtts:// where the broker encrypts"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			guard := start(t, "run", "--site", c.site, "--trail", t.TempDir())
			guard.waitFor("nothing is permitted")
			if code := guard.end(syscall.SIGTERM); code != exitFine {
				t.Errorf("exit status %d", code)
			}
			code, said := ask("stop", "--site", c.site)
			if code != exitError || !strings.Contains(said, "NOT sent: use the emergency stop") {
				t.Errorf("ask: exit status %d: %s", code, said)
			}
			for _, text := range []string{guard.text(), said} {
				if !strings.Contains(text, "no link to the broker at ") || !strings.Contains(text, c.why) || !strings.Contains(text, c.next) {
					t.Errorf("lacks %q or %q:\n%s", c.why, c.next, text)
				}
			}
		})
	}
}

// TestRunSaysThatAPortIsTaken: it does not begin without what the site asks for.
func TestRunSaysThatAPortIsTaken(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	path := writeSite(t, "", "mqtt://127.0.0.1:1", 2.8)
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	keep(t, path, string(text)+fmt.Sprintf("[metrics]\nlisten = %q\n", taken.Addr()))
	var out bytes.Buffer
	code := Main([]string{"run", "--site", path, "--trail", t.TempDir()}, nil, &out, &out)
	for _, want := range []string{"cannot listen on " + taken.Addr().String(), "address already in use", "listen in [metrics], or end what listens there"} {
		if code != exitError || !strings.Contains(out.String(), want) {
			t.Errorf("exit status %d, lacks %q:\n%s", code, want, out.String())
		}
	}
}

// TestLinesHavePriorities where the journal reads them, and nowhere else.
func TestLinesHavePriorities(t *testing.T) {
	f, err := os.Create(filepath.Join(t.TempDir(), "stream"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		t.Fatal(err)
	}
	st := info.Sys().(*syscall.Stat_t)
	for stream, want := range map[string]string{
		"":                                     "a\nb\n",
		fmt.Sprintf("%d:%d", st.Dev, st.Ino+1): "a\nb\n",
		fmt.Sprintf("%d:%d", st.Dev, st.Ino):   "<6>a\n<6>b\n",
	} {
		t.Setenv("JOURNAL_STREAM", stream)
		if _, err := f.Seek(0, 0); err != nil || f.Truncate(0) != nil {
			t.Fatal(err)
		}
		n, err := fmt.Fprint(toJournal(f)(app.Note), "a\nb\n")
		got, _ := os.ReadFile(f.Name())
		if err != nil || n != 4 || string(got) != want {
			t.Errorf("JOURNAL_STREAM=%s: %d, %v, %q, want %q", stream, n, err, got, want)
		}
	}
	for w, want := range map[app.Weight]journal.Priority{app.Note: 6, app.Caution: 5, app.Alarm: 4, app.Failure: 3} {
		if got := priority(severity(w)); got != want { // sd-daemon(3), SD_ERR to SD_INFO
			t.Errorf("weight %d: priority %d, want %d", w, got, want)
		}
	}
}

// A name that is none, an empty one too, guards nothing: it is not taken for all.
func TestRunOfVehiclesThatAreNotThere(t *testing.T) {
	site := demoFile(t)
	for _, names := range [][]string{{"rook"}, {""}, {"mole", ""}, {"mole,rook"}} {
		args := []string{"run", "--site", site, "--trail", site} // no folder, so that it ends in any case
		for _, n := range names {
			args = append(args, "--vehicle", n)
		}
		if code, _, errs := pinfold(args...); code != exitError || !strings.Contains(errs, "give --vehicle as one of: wren, mole") {
			t.Errorf("%q: exit status %d: %s", names, code, errs)
		}
	}
}
