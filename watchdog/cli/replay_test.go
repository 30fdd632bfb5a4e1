package cli

import (
	"bytes"
	"encoding/json"
	"path/filepath"
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
