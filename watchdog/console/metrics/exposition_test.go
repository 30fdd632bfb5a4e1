package metrics

import (
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	dto "github.com/prometheus/client_model/go"
	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"
	"pgregory.net/rapid"
)

// parsed is a text as the parser of Prometheus's own library reads it.
func parsed(t interface{ Fatalf(string, ...any) }, text string) map[string]*dto.MetricFamily {
	p := expfmt.NewTextParser(model.LegacyValidation)
	all, err := p.TextToMetricFamilies(strings.NewReader(text))
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	return all
}

// Whatever stands in a help, a label or a value, Prometheus's own library reads it
// as it was.
func TestExpositionIsReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		help, label := rapid.String().Draw(t, "help"), rapid.String().Draw(t, "label")
		v := rapid.OneOf(rapid.Float64(), rapid.SampledFrom([]float64{math.Inf(1), math.Inf(-1), math.NaN(), 0, 1, 1.7e9})).Draw(t, "value")
		f := &family{name: "pinfold_x", help: help, kind: gauge, labels: []string{"name", "vehicle"}}
		f.add(v, label, "wren")
		f.add(2, "", "mole")
		got := parsed(t, string(appendFamilies(nil, []*family{f, {name: "pinfold_none", kind: gauge}})))
		m := got["pinfold_x"]
		if len(got) != 1 || m.GetType() != dto.MetricType_GAUGE || len(m.Metric) != 2 {
			t.Fatalf("%v", got)
		}
		if strings.TrimLeft(help, " \t") == help && m.GetHelp() != help { // the parser passes over blanks before it
			t.Fatalf("help %q came back as %q", help, m.GetHelp())
		}
		first := m.Metric[0]
		if first.Label[0].GetName() != "name" || first.Label[0].GetValue() != strings.ToValidUTF8(label, "\uFFFD") || first.Label[1].GetValue() != "wren" {
			t.Fatalf("%q came back as %v", label, first.Label)
		}
		if g := first.GetGauge().GetValue(); g != v && !(math.IsNaN(g) && math.IsNaN(v)) {
			t.Fatalf("%v came back as %v", v, g)
		}
	})
}

// The histogram says what Prometheus's own library says of the same durations.
func TestHistogramIsTheLibrarys(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		theirs := prometheus.NewHistogram(prometheus.HistogramOpts{Name: "pinfold_x", Buckets: judgedWithin[:]})
		var ours histogram
		for _, ns := range rapid.SliceOf(rapid.OneOf(rapid.Int64Range(0, 4e8), rapid.SampledFrom([]int64{25e3, 1e6, 250e6, 250e6 + 1}))).Draw(t, "ns") {
			ours.observe(time.Duration(ns))
			theirs.Observe(time.Duration(ns).Seconds())
		}
		f := &family{name: "pinfold_x", kind: buckets, labels: []string{"vehicle"}}
		ours.tell(f, "wren")
		got := parsed(t, string(appendFamilies(nil, []*family{f})))["pinfold_x"].Metric[0].GetHistogram()
		var want dto.Metric
		if err := theirs.Write(&want); err != nil {
			t.Fatal(err)
		}
		w := want.GetHistogram()
		if got.GetSampleCount() != w.GetSampleCount() || math.Abs(got.GetSampleSum()-w.GetSampleSum()) > 1e-9 {
			t.Fatalf("%v, the library says %v", got, w)
		}
		for i, b := range w.Bucket { // ours has +Inf besides
			if g := got.Bucket[i]; g.GetUpperBound() != b.GetUpperBound() || g.GetCumulativeCount() != b.GetCumulativeCount() {
				t.Fatalf("bucket %d: %v, the library says %v", i, g, b)
			}
		}
		if last := got.Bucket[len(got.Bucket)-1]; !math.IsInf(last.GetUpperBound(), 1) || last.GetCumulativeCount() != w.GetSampleCount() {
			t.Fatalf("%v", last)
		}
	})
}

// What is told of the Go runtime and of the process has the names and kinds that
// Prometheus's own library has for them, and is about what that says.
func TestRuntimeAndProcessAreTheLibrarys(t *testing.T) {
	reg := prometheus.NewRegistry()
	reg.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	families, err := reg.Gather()
	if err != nil {
		t.Fatal(err)
	}
	theirs := map[string]*dto.MetricFamily{}
	for _, f := range families {
		theirs[f.GetName()] = f
	}
	ours := parsed(t, string(appendFamilies(nil, append(runtimeFamilies(), processFamilies()...))))
	if len(ours) < 20 {
		t.Errorf("%d families are told", len(ours))
	}
	for name, f := range ours {
		w := theirs[name]
		if w == nil || w.GetType() != f.GetType() {
			t.Errorf("%s is told as %v, and is %v in the library", name, f.GetType(), w.GetType())
			continue
		}
		got, want := number(f.Metric[0]), number(w.Metric[0])
		if steady := !strings.HasPrefix(name, "go_memstats") && name != "go_goroutines" && name != "process_open_fds"; got <= 0 && want > 0 ||
			steady && math.Abs(got-want) > 0.5*math.Abs(want)+1 {
			t.Errorf("%s: %v, the library says %v", name, got, want)
		}
	}
}

func number(m *dto.Metric) float64 {
	switch {
	case m.Counter != nil:
		return m.Counter.GetValue()
	case m.Summary != nil:
		return float64(m.Summary.GetSampleCount())
	}
	return m.GetGauge().GetValue()
}

// No metric is told twice, and each has a help: its text is one that Prometheus
// reads.
func TestWholeTextIsReadByPrometheus(t *testing.T) {
	tool, err := exec.LookPath("prometheus")
	if err != nil {
		t.Skip("prometheus is not installed; install it (Debian: apt-get install prometheus) to run this test")
	}
	s := newStage(t)
	s.Watch(0, flying())
	s.Judged(0, 3*time.Millisecond)
	at, stop, err := s.Serve("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer stop()
	api := scraping(t, tool, at)
	for query, want := range map[string]string{
		"pinfold_clearance_meters": "-0.2", `pinfold_level{level="stop",vehicle="wren"}`: "1", `pinfold_judgement_seconds_bucket{le="0.005",vehicle="wren"}`: "1",
		`up{job="pinfold"}`: "1", "pinfold_trail_bound_bytes": "100",
	} {
		var got string
		for end := time.Now().Add(30 * time.Second); got != want && time.Now().Before(end); time.Sleep(100 * time.Millisecond) {
			got = ask(api, query)
		}
		if got != want {
			t.Errorf("%s: Prometheus says %q, want %q", query, got, want)
		}
	}
}

// scraping is a Prometheus of its own that reads at every half second.
func scraping(t *testing.T, tool, at string) (api string) {
	t.Helper()
	dir, free := t.TempDir(), httptest.NewUnstartedServer(nil).Listener
	api = "http://" + free.Addr().String()
	_ = free.Close()
	config := filepath.Join(dir, "prometheus.yml")
	text := fmt.Sprintf("scrape_configs:\n- job_name: pinfold\n  scrape_interval: 500ms\n  static_configs: [{targets: [%q]}]\n", at)
	if err := os.WriteFile(config, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(tool, "--config.file", config, "--storage.tsdb.path", filepath.Join(dir, "data"),
		"--web.listen-address", strings.TrimPrefix(api, "http://"), "--log.level", "error")
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	return api
}

// ask is the value of a query's only series.
func ask(api, query string) string {
	r, err := http.Get(api + "/api/v1/query?query=" + url.QueryEscape(query))
	if err != nil {
		return ""
	}
	defer r.Body.Close()
	var d struct {
		Data struct {
			Result []struct {
				Value [2]any `json:"value"`
			} `json:"result"`
		} `json:"data"`
	}
	if json.NewDecoder(r.Body).Decode(&d) != nil || len(d.Data.Result) != 1 {
		return ""
	}
	return fmt.Sprint(d.Data.Result[0].Value[1])
}

// No more than a few read at once; others are told to come again.
func TestReadersAreBounded(t *testing.T) {
	s := newStage(t)
	hold, entered := make(chan struct{}), make(chan struct{}, readers)
	trail := s.Set.trail
	s.Set.trail = func() Trail { entered <- struct{}{}; <-hold; return trail() }
	h := s.Handler()
	read := func() int {
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/metrics", nil))
		return w.Code
	}
	codes := make(chan int, readers)
	for range readers {
		go func() { codes <- read() }()
	}
	for range readers {
		<-entered
	}
	if code := read(); code != http.StatusServiceUnavailable {
		t.Errorf("one more than may read: status %d", code)
	}
	close(hold)
	for range readers {
		if code := <-codes; code != http.StatusOK {
			t.Errorf("one of those that may: status %d", code)
		}
	}
	if code := read(); code != http.StatusOK {
		t.Errorf("after them: status %d", code)
	}
}
