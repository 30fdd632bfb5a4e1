package cli

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"pinfold/watchdog/pose"
	"pinfold/watchdog/pose/recording"
)

// hand is a person with a tracker in hand, at 100 Hz: what it did is given as
// samples and is played as it would come, until it is told to stop; then it
// holds still where it is.
type hand struct {
	frame pose.Alignment // of the tracker's session
	at    pose.Vec       // m, site frame
	n     int
	out   []pose.Sample
}

func (h *hand) emit(p pose.Vec) {
	inv := h.frame.Rotation.Conj()
	wobble := pose.Vec{X: float64(h.n%7) * 1e-4, Y: float64(h.n%5) * 1e-4} // a real one is never bit-identical
	h.n++
	h.at = p
	h.out = append(h.out, pose.Sample{Stamp: int64(h.n) * 1e7, Tracker: h.frame.Tracker, Orientation: inv,
		Position: inv.Rotate(p.Add(wobble).Sub(h.frame.Translation))})
}

func (h *hand) rest(d time.Duration) {
	for range int(d / (10 * time.Millisecond)) {
		h.emit(h.at)
	}
}

// move goes straight to p at 2 m/s.
func (h *hand) move(p pose.Vec) {
	from := h.at
	n := max(1, int(p.Sub(from).Norm()/0.02))
	for i := 1; i <= n; i++ {
		h.emit(from.Add(p.Sub(from).Scale(float64(i) / float64(n))))
	}
}

// play publishes it at its own pace, once ready says so, and goes on holding
// still.
func (h *hand) play(t *testing.T, l *listener, ready func() bool) {
	stop, ended := make(chan struct{}), make(chan struct{})
	t.Cleanup(func() { close(stop); <-ended })
	go func() {
		defer close(ended)
		tick := time.NewTicker(10 * time.Millisecond)
		defer tick.Stop()
		for i := 0; ; i++ {
			select {
			case <-stop:
				return
			case <-tick.C:
			}
			if i == 0 && !ready() {
				i--
				continue
			}
			if i == len(h.out) {
				h.emit(h.at)
			}
			if err := l.client.PublishNow(l.topics.Pose, recording.Payload(nil, &h.out[i]), 0, false, 5*time.Second); err != nil {
				t.Errorf("the tracker cannot publish: %v", err)
				return
			}
		}
	}()
}

// overheard is what a command prints while others listen.
type overheard struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (o *overheard) Write(p []byte) (int, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.b.Write(p)
}

func (o *overheard) String() string {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.b.String()
}

// inOrder says which of the words does not come after those before it.
func inOrder(text string, words ...string) string {
	for _, w := range words {
		i := strings.Index(text, w)
		if i < 0 {
			return w
		}
		text = text[i+len(w):]
	}
	return ""
}

// narrow finds a line of more than 60 columns that is not a path or a command.
func narrow(text string) string {
	for _, line := range strings.Split(text, "\n") {
		if len([]rune(line)) > 60 && !strings.ContainsAny(line, "/") {
			return line
		}
	}
	return ""
}

func tempFile(t *testing.T, dir, name, text string) string {
	t.Helper()
	path := filepath.Join(dir, name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}
