package trail

import (
	"bytes"
	"crypto/ed25519"
	"crypto/x509"
	"encoding/json"
	"encoding/pem"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"
)

func writeKeyFile(t *testing.T, name string, key ed25519.PrivateKey) {
	t.Helper()
	der, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der}), 0o600); err != nil {
		t.Fatal(err)
	}
}

type episode struct {
	Worst  float64            `json:"worst"`
	Limit  float64            `json:"limit"`
	Deep   *episode           `json:"deep,omitempty"`
	List   []float64          `json:"list,omitempty"`
	Named  map[string]float64 `json:"named,omitempty"`
	Any    any                `json:"any,omitempty"`
	Single float32            `json:"single"`
}

func TestNonFiniteNumbersLoseNoRecord(t *testing.T) {
	in := episode{Worst: math.Inf(1), Limit: 2.8, Deep: &episode{Worst: math.NaN(), Limit: math.Inf(-1)},
		List: []float64{1, math.NaN()}, Named: map[string]float64{"b": 1, "a": math.Inf(1)}, Any: math.NaN()}
	body := encodeBody(in)
	want := `{"worst":"Infinity","limit":2.8,"deep":{"worst":"NaN","limit":"-Infinity","single":0},` +
		`"list":[1,"NaN"],"named":{"a":"Infinity","b":1},"any":"NaN","single":0}`
	if string(body) != want {
		t.Errorf("got %s\nwant %s", body, want)
	}
	var out episode
	if err := (Line{Body: body}).Decode(&out); err != nil {
		t.Fatal(err)
	}
	if !math.IsInf(out.Worst, 1) || out.Limit != 2.8 || !math.IsNaN(out.Deep.Worst) || !math.IsInf(out.Deep.Limit, -1) ||
		out.List[0] != 1 || !math.IsNaN(out.List[1]) || !math.IsInf(out.Named["a"], 1) {
		t.Errorf("read back %+v", out)
	}
	if err := (Line{Body: []byte(`{"worst":"wide"}`)}).Decode(&out); err == nil {
		t.Error("a word was read as a number")
	}
}

type panics struct{}

func (panics) MarshalJSON() ([]byte, error) { panic("no") }

func TestEveryBodyBecomesALine(t *testing.T) {
	loop := map[string]any{}
	loop["self"] = loop
	for name, body := range map[string]any{"channel": make(chan int), "panic": panics{}, "loop": loop,
		"nil": nil, "broken raw": json.RawMessage(`{"a":`), "newline": "a\nb\u2028c", "bytes": []byte{0, 10, 255},
		"not UTF-8": "\xff\xfe", "huge": strings.Repeat("é", MaxBody), "infinite": math.Inf(1)} {
		b := encodeBody(body)
		if !json.Valid(b) || len(b) > MaxBody || bytes.ContainsRune(b, '\n') {
			t.Errorf("%s: %d bytes, %.80q", name, len(b), b)
		}
		raw := appendLine(nil, 1, noHash, 0, "wren", "fault", b)
		if _, err := parseLine(raw); err != nil {
			t.Errorf("%s: %v in %.120q", name, err, raw)
		}
	}
	var cut cutBody
	if err := json.Unmarshal(encodeBody(strings.Repeat("x", 2*MaxBody)), &cut); err != nil || cut.Cut != 2*MaxBody+2 || !isHash(cut.SHA256) {
		t.Errorf("cut body %+v, %v", cut, err)
	}
}

func TestNamesAreBoundedAndReserved(t *testing.T) {
	for in, want := range map[string]string{"level": "level", "seal": "app.seal", "intake": "app.intake", "": "app.",
		strings.Repeat("a", 70): strings.Repeat("a", 64), "x\xff": "x?"} {
		if got := appKind(in); got != want {
			t.Errorf("kind %q becomes %q, want %q", in, got, want)
		}
	}
	long := strings.Repeat("é", 40) // 80 bytes
	if got := cutName("a" + long); len(got) > MaxName || !utf8.ValidString(got) || len(got) < MaxName-1 {
		t.Errorf("cut to %d bytes: %q", len(got), got)
	}
}

func TestOneFormOnly(t *testing.T) {
	good := appendLine(nil, 3, noHash, -5, "wren", "level", []byte(`{"a":1}`))
	if l, err := parseLine(good); err != nil || l.Seq != 3 || l.At != -5 || l.Vehicle != "wren" || string(l.Body) != `{"a":1}` {
		t.Fatalf("%+v, %v", l, err)
	}
	for _, change := range [][2]string{{`{"seq"`, `{ "seq"`}, {`"seq":3`, `"seq":03`}, {`"seq":3`, `"seq":3.0`}, {`"wren"`, `"\u0077ren"`},
		{`"at":-5`, `"at":-5,"at":-5`}, {`"body"`, `"Body"`}, {`}}`, `}} `}, {`"prev":"00`, `"prev":"0A`}, {`"kind":"level",`, ``},
		{`{"a":1}`, `{"a":1`}, {`"seq":3,`, `"seq":3,"more":1,`}} {
		bad := strings.Replace(string(good), change[0], change[1], 1)
		if bad == string(good) {
			t.Fatalf("%q is not in the line", change[0])
		}
		if l, err := parseLine([]byte(bad)); err == nil {
			t.Errorf("%s was read as %+v", bad, l)
		}
	}
}

func TestOptionsAreChecked(t *testing.T) {
	for want, spoil := range map[string]func(*Options){
		"no folder given":     func(o *Options) { o.Dir = "" },
		"session \"\"":        func(o *Options) { o.Session = "" },
		"session \"../x\"":    func(o *Options) { o.Session = "../x" },
		"bound of 5 bytes":    func(o *Options) { o.MaxBytes = 5 },
		"bound of -1 bytes":   func(o *Options) { o.MaxBytes = -1 },
		"is given twice":      func(o *Options) { o.Files = append(o.Files, o.Files[0]) },
		"file name \"../a\"":  func(o *Options) { o.Files[0].Name = "../a" },
		"file name \".a\"":    func(o *Options) { o.Files[0].Name = ".a" },
		"files to copy":       func(o *Options) { o.Files = make([]File, MaxFiles+1) },
		"257 vehicles":        func(o *Options) { o.Vehicles = make([]string, MaxNames+1) },
		"shorten the names":   func(o *Options) { o.Topics = long(MaxNames, MaxTopic) },
		"mode 0644":           func(o *Options) { os.WriteFile(o.KeyFile, []byte("x"), 0o644) },
		"not one PEM block":   func(o *Options) { os.WriteFile(o.KeyFile, []byte("x"), 0o600) },
		"file site.toml has ": func(o *Options) { o.Files[0].Data = make([]byte, MaxFile+1) },
	} {
		o := testOptions(t)
		spoil(&o)
		if w, err := Create(o); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("want %q, got %v", want, err)
			if w != nil {
				w.Close(time.Second)
			}
		}
	}
}

func long(n, size int) (names []string) {
	for range n {
		names = append(names, strings.Repeat("t", size))
	}
	return names
}

func TestKeyIsMadeOnceAndForItsOwnerOnly(t *testing.T) {
	o := testOptions(t)
	a := mustClose(t, mustCreate(t, o))
	info, err := os.Stat(o.KeyFile)
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("key file %v, %v", info.Mode(), err)
	}
	o.Session = "s2"
	b := mustClose(t, mustCreate(t, o))
	if pub, err := PublicKey(o.KeyFile); err != nil || a.Public != b.Public || pub != a.Public {
		t.Errorf("public keys %s, %s, %s: %v", a.Public, b.Public, pub, err)
	}
}

func TestAfterCloseNothingIsTaken(t *testing.T) {
	w := mustCreate(t, testOptions(t))
	s := mustClose(t, w)
	answer := make(chan bool, 1)
	w.Intake(&Item{})
	w.Event("wren", "level", 0, nil)
	w.Durable("wren", "request", 0, nil, func(failed bool) { answer <- failed })
	if !<-answer {
		t.Error("durable after the end")
	}
	if st := w.Status(); st.OK || st.Lost != 3 {
		t.Errorf("status %+v", st)
	}
	if again, err := w.Close(time.Second); err != nil || again != s {
		t.Errorf("closed twice: %+v, %v", again, err)
	}
	mustVerify(t, s.Folder, s.Head)
}

func TestHugeItemsAreLostAndSaid(t *testing.T) {
	w := mustCreate(t, testOptions(t))
	w.Intake(&Item{At: 5, Payload: make([]byte, MaxPayload)})
	w.Intake(&Item{At: 6, Payload: make([]byte, MaxPayload+1)})
	if st := w.Status(); st.OK || st.Lost != 1 {
		t.Errorf("status %+v", st)
	}
	s := mustClose(t, w)
	if r := mustVerify(t, s.Folder, s.Head); r.Items != 1 || r.Lost != 1 {
		t.Errorf("report %+v", r)
	}
}

func TestFramesSpanAtMostASecond(t *testing.T) {
	w := mustCreate(t, testOptions(t))
	give(w, 0, 2000) // ten seconds of arrival in one go
	s := mustClose(t, w)
	frames := 0
	for _, l := range lines(t, s.Folder) {
		var ref FrameRef
		if l.Kind == KindIntake && l.Decode(&ref) == nil {
			frames++
			if ref.To-ref.From >= FrameSpan {
				t.Errorf("frame %d spans %v", ref.Frame, ref.To-ref.From)
			}
		}
	}
	if frames < 10 {
		t.Errorf("%d frames", frames)
	}
}

// TestPythonVerifies runs the script of the documentation on a session that is
// whole and on altered ones.
func TestPythonVerifies(t *testing.T) {
	python, err := exec.LookPath("python3")
	if err != nil {
		t.Skip("python3 is not installed: verify.py is not tested")
	}
	s, files := specimen(t)
	run := func(head string) (string, error) {
		out, err := exec.Command(python, "-I", "-S", "verify.py", s.Folder, head).CombinedOutput()
		return string(out), err
	}
	if out, err := run(s.Head); err != nil || !strings.Contains(out, s.Head+", sealed") {
		t.Errorf("%v: %s", err, out)
	}
	pythonFinds(t, s, files[eventsName], run)
	for name, data := range files {
		bad := bytes.Clone(data)
		bad[len(bad)/2] ^= 1
		put(t, s.Folder, name, bad)
	}
	out, err := run(strings.Repeat("0", 64))
	if !strings.Contains(out, "head is nowhere") {
		t.Errorf("a head of another trail: %s", out)
	}
	for name := range files {
		if err == nil || !strings.Contains(out, name) || strings.Contains(out, "Traceback") {
			t.Errorf("%s was altered: %v, %s", name, err, out)
		}
	}
	if text, err := os.ReadFile("verify.py"); err != nil || bytes.Count(text, []byte("\n")) > 60 {
		t.Errorf("verify.py is no longer short: %v", err)
	}
	if _, err := os.Stat(filepath.Join(s.Folder, "__pycache__")); err == nil {
		t.Error("the script wrote into the session")
	}
}

// pythonFinds changes the chain so that each line still fits the one before.
func pythonFinds(t *testing.T, s Sealed, events []byte, run func(string) (string, error)) {
	t.Helper()
	last := events[bytes.LastIndexByte(events[:len(events)-1], '\n')+1 : len(events)-1]
	more := appendLine(bytes.Clone(events), s.Lines+1, hashOf(last), time.Hour, "wren", "level", []byte(`{}`))
	other := bytes.Replace(events[:bytes.IndexByte(events, '\n')+1], []byte(`{"format":1`), []byte(`{"format":2`), 1)
	for want, bad := range map[string][]byte{
		"stands after the seal":     append(more, '\n'),
		"there is no line in it":    nil,
		"no first line of format 1": other,
		"line 1: no first line":     append(appendLine(nil, 1, noHash, 0, "", "level", []byte(`{"files":[]}`)), '\n'),
	} {
		put(t, s.Folder, eventsName, bad)
		if out, err := run(""); err == nil || !strings.Contains(out, want) {
			t.Errorf("%s: %v, %s", want, err, out)
		}
		mustFind(t, s.Folder, "", want)
	}
	put(t, s.Folder, eventsName, events)
	if out, err := run(""); err != nil || !strings.Contains(out, "sealed, by a signature that is not checked here") {
		t.Errorf("%v, %s", err, out)
	}
}

func FuzzParseLine(f *testing.F) {
	f.Add(appendLine(nil, 1, noHash, 5, "wren", "level", []byte(`{"a":[1,"x"]}`)))
	f.Fuzz(func(t *testing.T, raw []byte) {
		if l, err := parseLine(raw); err == nil && !bytes.Equal(raw, appendLine(nil, l.Seq, l.Prev, l.At, l.Vehicle, l.Kind, l.Body)) {
			t.Errorf("%q was read and is written otherwise", raw)
		}
	})
}

func FuzzItems(f *testing.F) {
	f.Add(appendItem(appendItem(nil, &Item{Payload: []byte("x")}), &Item{Vehicle: 3}))
	f.Fuzz(func(t *testing.T, raw []byte) {
		var again []byte
		if _, err := eachItem(raw, func(it *Item) error { again = appendItem(again, it); return nil }); err == nil && !bytes.Equal(raw, again) {
			t.Errorf("%x was read and is written %x", raw, again)
		}
	})
}
