package cli

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pinfold/watchdog/review"
)

func TestReplayComesToTheOutsideAnswers(t *testing.T) {
	for _, c := range recordings(t) {
		t.Run(c.name, func(t *testing.T) {
			var out, errw bytes.Buffer
			file := filepath.Join(sharedData, c.name+".csv")
			code := Main([]string{"replay", "--json", "--site", c.site(t, "mqtt://127.0.0.1:1883"), "--vehicle", "probe", file},
				bytes.NewReader(nil), &out, &errw)
			if code != exitFound {
				t.Fatalf("exit status %d, want %d: %s", code, exitFound, errw.String())
			}
			var res review.Result
			d := json.NewDecoder(&out)
			d.DisallowUnknownFields()
			if err := d.Decode(&res); err != nil {
				t.Fatal(err)
			}
			c.check(t, res.Episodes)
			if res.Dropped != 0 || res.Refused != 0 {
				t.Errorf("dropped %d, refused %d; the answers drop none", res.Dropped, res.Refused)
			}
		})
	}
}

// TestReplayOfAStillVehicleFindsNothing: before its first sample a recording has no
// pose, which is nobody's fault.
func TestReplayOfAStillVehicleFindsNothing(t *testing.T) {
	text := []byte("t_ns,x,y,z,qw,qx,qy,qz\n")
	for i := range 400 {
		text = fmt.Appendf(text, "%d,%.5f,2,1,1,0,0,0\n", 100_000_000_000+i*5_000_000, 2+1e-5*float64(i%7))
	}
	still := filepath.Join(t.TempDir(), "still.csv")
	if err := os.WriteFile(still, text, 0o600); err != nil {
		t.Fatal(err)
	}
	var out, errs bytes.Buffer
	if code := Main([]string{"replay", "--site", writeSite(t, "", "mqtt://127.0.0.1:1", 2.8), still}, strings.NewReader(""), &out, &errs); code != exitFine {
		t.Errorf("exit status %d: %s%s", code, out.String(), errs.String())
	}
	if !strings.Contains(out.String(), "400 samples over 1.995 s, 0 dropped, 0 refused") {
		t.Errorf("it says %q", out.String())
	}
}

// A difference may be another version's: the one that ran the session is named.
func TestReplayNamesTheVersionThatRan(t *testing.T) {
	if got := otherVersion(Version); got != "" {
		t.Errorf("of the same version it says %q", got)
	}
	if got := otherVersion("0.1.0"); !strings.Contains(got, "pinfold 0.1.0 ran the session and this is "+Version) {
		t.Errorf("of another version it says %q", got)
	}
}
