package trail

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

const (
	childDir  = "PINFOLD_TRAIL_CHILD" // the folder a child writes in
	killCount = "PINFOLD_TRAIL_KILLS" // how often to kill; 12 where it is not set
)

func TestMain(m *testing.M) {
	if dir := os.Getenv(childDir); dir != "" {
		child(dir, os.Getenv("PINFOLD_TRAIL_SESSION"))
		return
	}
	os.Exit(m.Run())
}

// child writes under load until it is killed. For each record that is durable it
// prints its number and the head.
func child(dir, session string) {
	w, err := Create(Options{Dir: dir, Session: session, FS: choppyFS{}, KeyFile: filepath.Join(dir, "..", "seal.key")})
	if err != nil {
		fmt.Println("error", err)
		os.Exit(1)
	}
	fmt.Println("folder", w.folder)
	payload := []byte(strings.Repeat("pose ", 50))
	for n := 0; ; n++ {
		at := time.Duration(n) * time.Millisecond
		for range 20 {
			w.Intake(&Item{Kind: 1, At: at, Payload: payload})
		}
		w.Event("wren", "level", at, n)
		done := make(chan struct{})
		w.Durable("wren", "request", at, n, func(failed bool) {
			if !failed {
				os.Stdout.WriteString("durable " + strconv.Itoa(n) + " " + w.Head() + "\n")
			}
			close(done)
		})
		if n%3 == 0 { // one at a time, and several in flight
			<-done
		}
		if n%500 == 499 {
			time.Sleep(time.Millisecond)
		}
	}
}

// choppyFS writes in small pieces, so that a kill finds writes half done.
type choppyFS struct{ OS }

func (c choppyFS) OpenFile(name string, flag int, mode fs.FileMode) (Handle, error) {
	h, err := c.OS.OpenFile(name, flag, mode)
	if err != nil {
		return nil, err
	}
	return choppyHandle{h}, nil
}

type choppyHandle struct{ Handle }

func (h choppyHandle) WriteAt(p []byte, off int64) (n int, err error) {
	for n < len(p) && err == nil {
		var m int
		m, err = h.Handle.WriteAt(p[n:min(len(p), n+23)], off+int64(n))
		n += m
	}
	return n, err
}

// TestKilledInMidWrite kills a writer at random moments. No record that it was
// told is durable is lost, the head it was told is in the chain, and after the
// next start what is left verifies.
func TestKilledInMidWrite(t *testing.T) {
	rounds := 12
	if n, err := strconv.Atoi(os.Getenv(killCount)); err == nil {
		rounds = n
	}
	seed := uint64(time.Now().UnixNano())
	rng := rand.New(rand.NewPCG(seed, 7))
	dir := filepath.Join(t.TempDir(), "trail")
	total, torn := 0, 0
	for i := range rounds {
		folder, acked, head := killOne(t, dir, fmt.Sprintf("k%d", i), time.Duration(rng.IntN(80_000))*time.Microsecond)
		w := mustCreate(t, Options{Dir: dir, Session: fmt.Sprintf("r%d", i), KeyFile: filepath.Join(dir, "..", "seal.key"), FS: quickFS{}})
		mustClose(t, w)
		if folder == "" {
			continue // killed before its first line was durable
		}
		r := mustVerify(t, folder, head)
		if missing := missing(t, folder, acked); len(missing) > 0 {
			t.Errorf("seed %d, round %d: %d of %d durable records are gone, the first is %d", seed, i, len(missing), len(acked), missing[0])
		}
		if r.Sealed {
			t.Errorf("seed %d, round %d: a killed session is sealed", seed, i)
		}
		total += len(acked)
		if _, err := os.Stat(filepath.Join(folder, tornName)); err == nil {
			torn++
		}
		if i%50 == 49 { // keep the folder short
			os.RemoveAll(dir)
		}
	}
	if total == 0 {
		t.Error("no child got as far as a durable record: nothing was proved")
	}
	t.Logf("%d kills, %d durable records all there, %d torn tails", rounds, total, torn)
}

func killOne(t *testing.T, dir, session string, after time.Duration) (folder string, acked []int, head string) {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), childDir+"="+dir, "PINFOLD_TRAIL_SESSION="+session)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	begins := after < 8*time.Millisecond // then from the process's start: in Create
	if begins {
		time.AfterFunc(after*4, func() { cmd.Process.Kill() })
	}
	in := bufio.NewScanner(out)
	for in.Scan() {
		f := strings.Fields(in.Text())
		switch f[0] {
		case "folder":
			folder = f[1]
			if !begins {
				time.AfterFunc(after, func() { cmd.Process.Kill() })
			}
		case "durable":
			if n, err := strconv.Atoi(f[1]); err == nil && len(f) == 3 {
				acked, head = append(acked, n), f[2]
			}
		case "error":
			t.Fatal(in.Text())
		}
	}
	cmd.Wait() // always an error: it was killed
	return folder, acked, head
}

func missing(t *testing.T, folder string, acked []int) (gone []int) {
	t.Helper()
	there := map[int]bool{}
	for _, l := range lines(t, folder) {
		var n int
		if l.Kind == "request" && json.Unmarshal(l.Body, &n) == nil {
			there[n] = true
		}
	}
	for _, n := range acked {
		if !there[n] {
			gone = append(gone, n)
		}
	}
	return gone
}
