package app

import (
	"os"
	"strings"
	"testing"
	"time"

	"pinfold/config"
	"pinfold/watchdog/link"
	"pinfold/watchdog/link/wire"
)

// What the site file may say of a broker is what the link can do: nothing that is
// found in order by check ends a run.
func TestWhatTheSiteFileTakesTheLinkTakes(t *testing.T) {
	urls := []string{"mqtt://127.0.0.1", "mqtt://127.0.0.1:1883", "MQTT://127.0.0.1:1883", "mqtts://localhost", "mqtts://localhost:8883/", "mqtt://[::1]:1883",
		"mqtt://[fe80::1%25eth0]:1883", "mqtt://127.0.0.1:01883", "mqtt://127.0.0.1:0", "mqtt://127.0.0.1:65536", "mqtt://127.0.0.1:1883//",
		"mqtt://127.0.0.1:1883/?", "mqtt://127.0.0.1:1883#", "mqtt:127.0.0.1:1883", "mqtt://:1883", "tcp://127.0.0.1:1883", "ssl://127.0.0.1:8883",
		"ws://127.0.0.1:9001", "wss://localhost/mqtt", "mqtt://localhost mole", "mqtt://user@127.0.0.1:1883"}
	taken := 0
	for _, u := range urls {
		prefixes := []string{"pinfold"}
		if u == urls[0] {
			prefixes = []string{"pinfold", "hall/pinfold", strings.Repeat("a", 64), strings.Repeat("a", 65), strings.Repeat("a/", 32) + "a", "hall\t1", "hal\u0085l", "$hall", "ha$ll", "hölle"}
		}
		for _, prefix := range prefixes {
			text := strings.Replace(site, "url = %q", `url = "`+u+`"`+"\n"+`prefix = "`+prefix+`"`, 1)
			s, err := config.Parse("site.toml", []byte(text), func(string) ([]byte, error) { return nil, os.ErrNotExist })
			if err != nil {
				continue
			}
			taken++
			o, err := LinkOptions(&s.Broker)
			if err != nil {
				t.Errorf("%s, %q: %v", u, prefix, err)
				continue
			}
			o.ClientID, o.Now = "test", func() time.Duration { return 0 }
			if c, err := link.Dial(o); err != nil {
				t.Errorf("%s: %v", u, err)
			} else {
				_ = c.Close(0) // it never was to connect
			}
			if _, err := wire.Topics(s.Broker.Prefix, s.Vehicles[0].Name); err != nil {
				t.Errorf("%q: %v", prefix, err)
			}
		}
	}
	if t.Logf("%d taken", taken); taken < 11 {
		t.Errorf("%d taken: the test looks at too little", taken)
	}
}
