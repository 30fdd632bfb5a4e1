package mosquittotest_test

import (
	"net"
	"strings"
	"testing"
	"time"

	"pinfold/watchdog/link/mosquittotest"
)

func TestBrokerDiesFreezesAndComesBack(t *testing.T) {
	b := mosquittotest.Start(t)
	addr := strings.TrimPrefix(b.URL, "mqtt://")
	listens := func() bool {
		c, err := net.DialTimeout("tcp", addr, time.Second)
		if err == nil {
			_ = c.Close()
		}
		return err == nil
	}
	if !listens() {
		t.Fatal("does not listen after Start")
	}
	b.Kill()
	if listens() {
		t.Fatal("listens after Kill")
	}
	b.Restart()
	if !listens() {
		t.Fatal("does not listen after Restart")
	}

	// A CONNECT of MQTT 3.1.1, client id "a" (§3.1); CONNACK is 20 02 00 00 (§3.2).
	connect := []byte{0x10, 13, 0, 4, 'M', 'Q', 'T', 'T', 4, 2, 0, 60, 0, 1, 'a'}
	c, err := net.Dial("tcp", addr)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	b.Stop()
	if _, err := c.Write(connect); err != nil {
		t.Fatal(err)
	}
	var answer [4]byte
	_ = c.SetReadDeadline(time.Now().Add(200 * time.Millisecond))
	if n, err := c.Read(answer[:]); err == nil {
		t.Fatalf("a frozen broker answered %x", answer[:n])
	}
	b.Cont()
	_ = c.SetReadDeadline(time.Now().Add(5 * time.Second))
	if _, err := c.Read(answer[:]); err != nil || answer != [4]byte{0x20, 2, 0, 0} {
		t.Fatalf("after Cont: %x, %v; want CONNACK 20020000", answer, err)
	}
}
