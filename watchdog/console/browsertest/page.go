package browsertest

import (
	"context"
	"fmt"
	"iter"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
)

// patience is how long the browser may take to start, and a page to load.
const patience = 60 * time.Second

// ShotsVar names the environment variable with the folder that pictures are
// kept in; without it they are made and thrown away with the test.
const ShotsVar = "PINFOLD_SHOTS"

// Page is one page in a Chromium of its own.
type Page struct {
	tb    testing.TB
	ctx   context.Context
	own   string // what addresses of the page's own begin with
	mu    sync.Mutex
	wrong []string
}

// Open starts a Chromium of width by height CSS pixels and goes to url, which
// is an http address or the path of a file. The browser ends with the test.
func Open(tb testing.TB, url string, width, height int) *Page {
	tb.Helper()
	program := find()
	if program == "" {
		tb.Skip("Chromium is not installed; install it (Debian: apt-get install chromium) to run this test")
	}
	own := url
	if !strings.Contains(url, "://") {
		abs, err := filepath.Abs(url)
		if err != nil {
			tb.Fatal(err)
		}
		url = "file://" + abs
		own = url
	}
	p := &Page{tb: tb, own: strings.TrimSuffix(own, "/")}
	ctx, stop := chromedp.NewExecAllocator(context.Background(), append(options(program, tb.TempDir(), width, height),
		chromedp.Flag("ignore-certificate-errors", strings.HasPrefix(url, "https:")))...) // a test makes its own
	tb.Cleanup(stop)
	p.ctx, stop = chromedp.NewContext(ctx)
	tb.Cleanup(stop)
	// The browser lives as long as the context of the first step: it has no end
	// of its own.
	if err := chromedp.Do(p.ctx, chromedp.Navigate("about:blank")); err != nil {
		tb.Fatal("the browser:", err)
	}
	go p.hear(chromedp.Console(p.ctx))
	if _, err := chromedp.Call(p.ctx, network.Enable, network.EnableParams{}); err != nil {
		tb.Fatal("the browser:", err)
	}
	go p.watch(chromedp.Events(p.ctx, network.RequestWillBeSent))
	p.do(chromedp.Navigate(url))
	return p
}

func options(program, profile string, width, height int) []chromedp.ExecAllocatorOption {
	return append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(program),
		chromedp.UserDataDir(profile),
		chromedp.WindowSize(width, height),
		chromedp.NoSandbox, // tests may run as root, where the sandbox does not
		chromedp.DisableGPU,
		chromedp.Flag("disable-quic", true),
		chromedp.Flag("disable-component-update", true),
		chromedp.WSURLReadTimeout(patience))
}

// find is where Chromium stands.
func find() string {
	for _, name := range []string{"chromium", "chromium-browser"} {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	return ""
}

// hear keeps what the page complains of on its console, and what it throws.
func (p *Page) hear(messages iter.Seq2[chromedp.ConsoleMessage, error]) {
	for m, err := range messages {
		switch {
		case err != nil:
			return // the browser has ended
		case m.IsException(), m.Type == chromedp.ConsoleError, m.Type == chromedp.ConsoleWarning, m.Type == "assert":
			p.note(fmt.Sprintf("%s %s", m, m.URL))
		}
	}
}

// watch keeps what the page asks anybody but its own server for.
func (p *Page) watch(requests iter.Seq2[network.EventRequestWillBeSent, error]) {
	for e, err := range requests {
		if err != nil {
			return
		}
		u := e.Request.URL
		if !strings.HasPrefix(u, p.own) && !strings.HasPrefix(u, "data:") && !strings.HasPrefix(u, "blob:") {
			p.note("asked elsewhere: " + u)
		}
	}
}

func (p *Page) note(what string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.wrong = append(p.wrong, what)
}

// Wrong is what the page did so far that it should not, and forgets it.
func (p *Page) Wrong() []string {
	p.mu.Lock()
	defer p.mu.Unlock()
	w := p.wrong
	p.wrong = nil
	return w
}

// Quiet fails the test where the page did what it should not.
func (p *Page) Quiet() {
	p.tb.Helper()
	for _, w := range p.Wrong() {
		p.tb.Errorf("the page: %s", w)
	}
}

// Eval gives what the page computes of js, a promise's value where it is one.
func Eval[T any](p *Page, js string) T {
	p.tb.Helper()
	return run(p, chromedp.Evaluate[T](js, chromedp.EvalAwaitPromise))
}

// Wait waits until js is true, and says how long that took.
func (p *Page) Wait(what, js string, within time.Duration) time.Duration {
	p.tb.Helper()
	begun := time.Now()
	for {
		is := Eval[bool](p, "!!("+js+")")
		took := time.Since(begun)
		if is {
			return took
		}
		if took > within {
			p.tb.Fatalf("%s: not so after %v", what, took.Round(time.Millisecond))
		}
		time.Sleep(10 * time.Millisecond)
	}
}

// Home is the page's own address.
func (p *Page) Home() string { return p.own }

// Again goes to the page's own address once more, as who opens it afresh.
func (p *Page) Again() {
	p.tb.Helper()
	p.do(chromedp.Navigate(p.own))
}

// Click presses the first element that the selector fits, as a mouse would.
func (p *Page) Click(selector string) {
	p.tb.Helper()
	p.do(chromedp.Click(chromedp.CSS(selector)))
}

// Type types text into the first element that the selector fits.
func (p *Page) Type(selector, text string) {
	p.tb.Helper()
	p.do(chromedp.SendKeys(chromedp.CSS(selector), text))
}

// Resize makes the window width by height CSS pixels.
func (p *Page) Resize(width, height int64) {
	p.tb.Helper()
	p.do(chromedp.EmulateViewport(width, height))
}

// Shot makes a picture of the whole page as name.png, kept where ShotsVar says.
func (p *Page) Shot(name string) {
	p.tb.Helper()
	p.keep(name, run(p, chromedp.FullScreenshot(100)))
}

// Glance makes a picture of what the window shows.
func (p *Page) Glance(name string) {
	p.tb.Helper()
	p.keep(name, run(p, chromedp.CaptureScreenshot()))
}

func (p *Page) keep(name string, png []byte) {
	p.tb.Helper()
	if len(png) < 1000 {
		p.tb.Errorf("the picture %s has %d bytes", name, len(png))
	}
	dir := os.Getenv(ShotsVar)
	if dir == "" {
		return
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		p.tb.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644); err != nil {
		p.tb.Fatal(err)
	}
}

func (p *Page) do(a chromedp.Action[chromedp.Void]) {
	p.tb.Helper()
	run(p, a)
}

func run[T any](p *Page, a chromedp.Action[T]) T {
	p.tb.Helper()
	ctx, stop := context.WithTimeout(p.ctx, patience)
	defer stop()
	out, err := chromedp.Run(ctx, a)
	if err != nil {
		p.tb.Fatal("the browser:", err)
	}
	return out
}

// Press presses a key, by what it would type or a character of package kb.
func (p *Page) Press(key string) {
	p.tb.Helper()
	p.do(chromedp.KeyEvent(key))
}

// Prefer makes the page believe that a person prefers value of a media feature,
// such as prefers-color-scheme.
func (p *Page) Prefer(feature, value string) {
	p.tb.Helper()
	m := emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: feature, Value: value}}}
	if _, err := chromedp.Call(p.ctx, emulation.SetEmulatedMedia, m); err != nil {
		p.tb.Fatal("the browser:", err)
	}
}

// AxeVar names the environment variable with the path of axe-core's script
// (axe.min.js, npm axe-core).
const AxeVar = "PINFOLD_AXE"

// Axe holds the page against the rules of WCAG 2.2, levels A and AA, and its best
// practices, as axe-core has them; tb is of a test of its own, which is skipped
// where there is no axe-core.
func (p *Page) Axe(tb testing.TB) {
	tb.Helper()
	path := os.Getenv(AxeVar)
	if path == "" {
		tb.Skipf("set %s to the path of axe.min.js (npm pack axe-core) to hold the page against WCAG 2.2", AxeVar)
	}
	script, err := os.ReadFile(path)
	if err != nil {
		tb.Fatal(err)
	}
	Eval[bool](p, string(script)+"\n;typeof axe === 'object'")
	type found struct{ Rules, Violations []string }
	got := Eval[found](p, `axe.run(document, {runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}).then(r => ({
		rules: r.passes.map(x => x.id),
		violations: r.violations.map(v => v.id + ": " + v.help + ": " + v.nodes.map(n => n.target.join(" ") + " " + n.failureSummary).join("; "))}))`)
	if len(got.Rules) < 20 {
		tb.Errorf("only %d rules of axe-core applied: %v", len(got.Rules), got.Rules)
	}
	for _, v := range got.Violations {
		tb.Error(v)
	}
}
