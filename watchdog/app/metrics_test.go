package app

import (
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"testing"

	"pinfold/watchdog/link/mosquittotest"
)

// What a monitoring system reads of a guard that runs: lives, has its link and
// its trail, and judges.
func TestMetricsOfARunningGuard(t *testing.T) {
	b := start(t)
	site := parse(t, b.URL())
	l, err := net.Listen("tcp", mosquittotest.FreeAddr(t))
	if err != nil {
		t.Fatal(err)
	}
	site.Metrics = l.Addr().String()
	if _, err := Run(context.Background(), Options{Site: site, TrailDir: t.TempDir()}); err == nil || !strings.Contains(err.Error(), "cannot listen on") {
		t.Fatalf("with the port taken: %v", err)
	}
	l.Close()
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	var o told
	ended := make(chan error, 1)
	go func() {
		_, err := Run(ctx, Options{Site: site, TrailDir: t.TempDir(), Say: o.say})
		ended <- err
	}()
	get := func(path string) (int, string) {
		r, err := http.Get("http://" + site.Metrics + path)
		if err != nil {
			return 0, err.Error()
		}
		defer r.Body.Close()
		text, err := io.ReadAll(r.Body)
		return r.StatusCode, fmt.Sprint(string(text), err)
	}
	eventually(t, "it is ready", func() bool { code, _ := get("/readyz"); return code == http.StatusOK })
	if code, text := get("/healthz"); code != http.StatusOK {
		t.Errorf("healthz: %d %s", code, text)
	}
	// What the disk has left is looked up beside the loop, a moment later.
	eventually(t, "the disk's room is told", func() bool { _, text := get("/metrics"); return strings.Contains(text, "pinfold_trail_free_bytes ") })
	_, text := get("/metrics")
	for _, want := range []string{`pinfold_level{level="waiting"`, `pinfold_link_up{vehicle=`, "pinfold_trail_ok 1"} {
		if !strings.Contains(text, want) {
			t.Errorf("lacks %s", want)
		}
	}
	b.Close()
	eventually(t, "the link's end is told", func() bool {
		code, text := get("/readyz")
		return code == 503 && strings.Contains(text, "no link to the broker")
	})
	cancel()
	if err := <-ended; err != nil {
		t.Error(err)
	}
	if code, _ := get("/healthz"); code != 0 {
		t.Error("it is still served after the end")
	}
}
