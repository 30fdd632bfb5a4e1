package examples

import (
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"pinfold/watchdog/link"
	"pinfold/watchdog/link/mosquittotest"
	"pinfold/watchdog/link/wire"
	"pinfold/watchdog/pose"
)

func TestPythonTracker(t *testing.T) {
	trackerLive(t, python(t, "paho.mqtt.client", "python3-paho-mqtt"), "-B", "pose.py", "HOST", "PORT")
}

func TestGoTracker(t *testing.T) {
	path := filepath.Join(t.TempDir(), "tracker")
	if out, err := exec.Command("go", "build", "-o", path, "./tracker").CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	trackerLive(t, path, "HOST:PORT")
}

func TestCTracker(t *testing.T) {
	if _, err := os.Stat("/usr/include/mosquitto.h"); err != nil {
		t.Skip("no mosquitto.h; install it (Debian: apt-get install libmosquitto-dev) to run this test")
	}
	trackerLive(t, compile(t, "pose", "c/pose.c", "-lmosquitto"), "HOST", "PORT")
}

// trackerLive runs a pose publisher on a real broker. The watchdog's own
// decoder reads each pose, stamps and numbers rise, and poses come again after
// the broker was away.
func trackerLive(t *testing.T, program ...string) {
	b := mosquittotest.Start(t)
	topics, err := wire.Topics(wire.DefaultPrefix, "wren")
	if err != nil {
		t.Fatal(err)
	}
	in, err := link.NewInbox()
	if err != nil {
		t.Fatal(err)
	}
	began := time.Now()
	c, err := link.Dial(link.Options{URL: b.URL, ClientID: "guard", Now: func() time.Duration { return time.Since(began) },
		Subs: []link.Sub{{Topic: topics.Pose, Inbox: in}}})
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close(time.Second)
	run(t, b.URL, program)
	last := hearPoses(t, in, 50, pose.Sample{})
	b.Kill()
	b.Restart()
	hearPoses(t, in, 50, last)
}

func run(t *testing.T, broker string, program []string) {
	t.Helper()
	u, err := url.Parse(broker)
	if err != nil {
		t.Fatal(err)
	}
	named := map[string]string{"HOST": u.Hostname(), "PORT": u.Port(), "HOST:PORT": u.Host}
	var args []string
	for _, a := range append(program[1:], "wren") {
		if value, ok := named[a]; ok {
			a = value
		}
		args = append(args, a)
	}
	cmd := exec.Command(program[0], args...)
	cmd.Stderr = os.Stderr
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
}

// hearPoses reads n poses, each newer than the one before.
func hearPoses(t *testing.T, in *link.Inbox, n int, last pose.Sample) pose.Sample {
	t.Helper()
	d, err := pose.NewDecoder(pose.DefaultFields())
	if err != nil {
		t.Fatal(err)
	}
	var m link.Message
	for end := time.Now().Add(15 * time.Second); n > 0 && time.Now().Before(end); {
		if !in.Take(&m) {
			time.Sleep(time.Millisecond)
			continue
		}
		var s pose.Sample
		if fault := d.Decode(m.Payload, &s); fault != nil {
			t.Fatalf("%s: %v", m.Payload, fault)
		}
		if s.Stamp <= last.Stamp || s.Seq <= last.Seq || m.Retained {
			t.Fatalf("%s does not come after %+v, retained %v", m.Payload, last, m.Retained)
		}
		last, n = s, n-1
	}
	if n > 0 {
		t.Fatalf("%d poses are missing after 15 s", n)
	}
	return last
}
