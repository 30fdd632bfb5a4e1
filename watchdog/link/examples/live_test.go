package examples

import (
	"bufio"
	"encoding/json"
	"math"
	"net/url"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pinfold/watchdog/link"
	"pinfold/watchdog/link/mosquittotest"
	"pinfold/watchdog/link/sign"
	"pinfold/watchdog/link/wire"
)

// TestPythonVehicleLive runs the example as a user would, on a real broker.
func TestPythonVehicleLive(t *testing.T) {
	t.Parallel()
	interpreter := python(t, "paho.mqtt.client", "python3-paho-mqtt")
	vehicleLive(t, nil, interpreter, "-B", "vehicle.py")
	t.Run("signed", func(t *testing.T) { t.Parallel(); vehicleLive(t, sign.NewKey(), interpreter, "-B", "vehicle.py") })
}

// TestCVehicleLive does the same with the C vehicle and its own small client.
func TestCVehicleLive(t *testing.T) {
	t.Parallel()
	program := compileVehicle(t)
	vehicleLive(t, nil, program)
	t.Run("signed", func(t *testing.T) { t.Parallel(); vehicleLive(t, sign.NewKey(), program) })
}

// firstWord is what a vehicle says to do; why is its own business.
func firstWord(line string) string {
	word, _, _ := strings.Cut(line, " ")
	return word
}

// vehicleLive: the vehicle moves by a permit that echoes its stamps, halts by a
// command and acknowledges it, and halts by itself when the permits end, or its
// broker does.
func vehicleLive(t *testing.T, key *sign.Key, program ...string) {
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
	now := func() time.Duration { return time.Since(began) }
	c, err := link.Dial(link.Options{URL: b.URL, ClientID: "guard", Now: now,
		Subs: []link.Sub{{Topic: topics.Pose, Inbox: in}, {Topic: topics.Ack, Inbox: in}}})
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close(time.Second)
	permit, err := c.Slot(topics.Permit, 0, false)
	if err != nil {
		t.Fatal(err)
	}
	signs := sign.New(key, topics.Permit)
	said := startVehicle(t, b.URL, key, program...)
	expect(t, said, "stop")

	seq := uint64(0)
	grant := func(yes bool) { seq = answerPose(t, in, permit, signs, now, seq, yes) }
	until(t, said, "go", func() { grant(seq%20 >= 3) }) // it says no first, and again: the vehicle may not hear yet
	command := wire.Command{ID: "c1", Seq: 1, Action: wire.Land, Value: math.NaN(), Limit: math.NaN()}
	if err := c.PublishNow(topics.Command, sign.New(key, topics.Command).Sign(command.Append(nil)), 0, false, time.Second); err != nil {
		t.Fatal(err)
	}
	expect(t, said, "land")
	awaitAck(t, in, sign.New(key, topics.Ack), "c1")
	until(t, said, "go", func() { grant(seq%2 == 0) }) // no, yes: the latch opens
	expect(t, said, "stop")                            // nobody grants any more
	until(t, said, "go", func() { grant(true) })
	b.Kill()
	expect(t, said, "stop")
	b.Restart()
	until(t, said, "go", func() { grant(true) }) // both are back
}

func startVehicle(t *testing.T, broker string, key *sign.Key, program ...string) <-chan string {
	t.Helper()
	u, err := url.Parse(broker)
	if err != nil {
		t.Fatal(err)
	}
	args := append(program[1:], u.Hostname(), u.Port(), "wren")
	if key != nil {
		file := filepath.Join(t.TempDir(), "key")
		if err := sign.WriteKey(file, key); err != nil {
			t.Fatal(err)
		}
		args = append(args, file)
	}
	cmd := exec.Command(program[0], args...)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	said := make(chan string, 1000)
	go func() {
		for lines := bufio.NewScanner(out); lines.Scan(); {
			said <- lines.Text()
		}
	}()
	return said
}

func expect(t *testing.T, said <-chan string, want string) {
	t.Helper()
	until(t, said, want, func() { time.Sleep(time.Millisecond) })
}

// until repeats do until the vehicle says want.
func until(t *testing.T, said <-chan string, want string, do func()) {
	t.Helper()
	for end := time.Now().Add(15 * time.Second); time.Now().Before(end); {
		select {
		case got := <-said:
			if firstWord(got) == want {
				return
			}
		default:
			do()
		}
	}
	t.Fatalf("the vehicle did not say %q within 15 s", want)
}

// answerPose takes the next pose and permits by its stamp.
func answerPose(t *testing.T, in *link.Inbox, permit *link.Slot, signs *sign.Signer, now func() time.Duration, seq uint64, yes bool) uint64 {
	t.Helper()
	var m link.Message
	if !in.Take(&m) {
		time.Sleep(time.Millisecond)
		return seq
	}
	var pose struct{ Stamp json.Number }
	if err := json.Unmarshal(m.Payload, &pose); err != nil {
		t.Fatal(err)
	}
	stamp, ok := wire.ParseStamp([]byte(pose.Stamp))
	if !ok {
		return seq // an ack
	}
	seq++
	p := wire.Permit{Guard: "hall", Session: "s", Seq: seq, Go: yes, Stamp: stamp, Valid: 0.5}
	permit.Put(signs.Sign(p.Append(nil)), now()+50*time.Millisecond)
	return seq
}

func awaitAck(t *testing.T, in *link.Inbox, signs *sign.Signer, id string) {
	t.Helper()
	var m link.Message
	for end := time.Now().Add(5 * time.Second); time.Now().Before(end); {
		if !in.Take(&m) {
			time.Sleep(time.Millisecond)
		} else if a, err := wire.DecodeAck(m.Payload); err == nil && signs.Check(m.Payload) && a.ID == id && a.Action == wire.Land {
			return
		}
	}
	t.Fatalf("command %s was not acknowledged within 5 s", id)
}
