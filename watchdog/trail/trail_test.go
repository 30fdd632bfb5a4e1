package trail

import (
	"fmt"
	"math"
	"path/filepath"
	"testing"
	"time"
)

func testOptions(t testing.TB) Options {
	t.Helper()
	dir := t.TempDir()
	return Options{Dir: filepath.Join(dir, "trail"), Session: "s1", Guard: "g1", Site: "Brackenfield workshop hall",
		Version: "test", Started: time.Date(2026, 3, 1, 9, 30, 0, 0, time.UTC), Vehicles: []string{"wren", "mole"},
		Topics: []string{"pinfold/wren/pose", "pinfold/mole/pose"}, KeyFile: filepath.Join(dir, "seal.key"), FS: quickFS{},
		Files: []File{{Name: "site.toml", Data: []byte("[site]\nname = \"hall\"\n")}, {Name: "cage.geojson", Data: []byte("{}")}}}
}

func mustCreate(t testing.TB, o Options) *Writer {
	t.Helper()
	w, err := Create(o)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

func mustClose(t testing.TB, w *Writer) Sealed {
	t.Helper()
	s, err := w.Close(10 * time.Second)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func mustVerify(t testing.TB, folder, head string) *Report {
	t.Helper()
	r, err := Verify(folder, head)
	if err != nil {
		t.Fatal(err)
	}
	if err := r.Err(); err != nil {
		t.Fatalf("verify %s: %v", folder, err)
	}
	return r
}

// give puts n items of two vehicles, 5 ms apart, and an event for every tenth.
func give(w *Writer, from, n int) {
	for i := from; i < from+n; i++ {
		at := time.Duration(i) * 5 * time.Millisecond
		w.Intake(&Item{Vehicle: uint16(i % 2), Kind: 2, Flags: uint8(i), At: at, Arrived: at - time.Millisecond,
			Payload: fmt.Appendf(nil, `{"stamp":%d.005,"position":{"x":%.4f,"y":1,"z":0.5}}`, i, math.Sin(float64(i)))})
		if i%10 == 0 {
			w.Event("wren", "level", at, map[string]any{"from": "clear", "to": "caution", "n": i})
		}
	}
}

func TestSessionIsWrittenSealedAndReadBack(t *testing.T) {
	o := testOptions(t)
	o.FS = nil // the real one, fsync and all
	w := mustCreate(t, o)
	give(w, 0, 1000)
	durable := make(chan bool, 1)
	w.Durable("mole", "request", 5*time.Second, map[string]string{"ask": "start"}, func(failed bool) { durable <- failed })
	if <-durable {
		t.Fatal("the durable record failed")
	}
	head := w.Head()
	give(w, 1000, 500)
	w.Event("wren", "command", 7*time.Second, nil)
	sealed := mustClose(t, w)
	if st := w.Status(); !st.OK || st.Head != sealed.Head || st.Items != 1500 || st.Lost != 0 {
		t.Errorf("status %+v", st)
	}

	r := mustVerify(t, sealed.Folder, head)
	if !r.Sealed || r.Items != 1500 || r.Head != sealed.Head || r.Files != 2 || r.HeadAt == 0 || r.Public != sealed.Public {
		t.Errorf("report %+v", r)
	}
	mustVerify(t, sealed.Folder, sealed.Head)

	rd, err := Open(sealed.Folder)
	if err != nil {
		t.Fatal(err)
	}
	defer rd.Close()
	if data, err := rd.File("site.toml"); err != nil || string(data) != string(o.Files[0].Data) {
		t.Errorf("site.toml: %q, %v", data, err)
	}
	i := 0
	err = rd.Items(func(it *Item) error {
		at := time.Duration(i) * 5 * time.Millisecond
		want := fmt.Sprintf(`{"stamp":%d.005,"position":{"x":%.4f,"y":1,"z":0.5}}`, i, math.Sin(float64(i)))
		if it.At != at || it.Arrived != at-time.Millisecond || it.Vehicle != uint16(i%2) || it.Kind != 2 ||
			it.Flags != uint8(i) || string(it.Payload) != want {
			return fmt.Errorf("item %d is %+v", i, it)
		}
		i++
		return nil
	})
	if err != nil || i != 1500 {
		t.Errorf("%d items, %v", i, err)
	}
	list, err := List(o.Dir)
	if err != nil || len(list) != 1 || !list[0].Sealed || list[0].Stops != 1 || list[0].ID != "s1" || list[0].Err != "" {
		t.Errorf("list %+v, %v", list, err)
	}
	if list[0].Items != 1500 || list[0].Lines != sealed.Lines || list[0].Head != sealed.Head {
		t.Errorf("list %+v", list)
	}
}
