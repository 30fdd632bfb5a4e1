package faults

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"net"
	"strings"
	"sync"
	"time"

	"pinfold/sim"
)

// takeClientID connects a stranger under the very client id that the guard's
// connection for each vehicle has. A broker must then throw the guard's out (MQTT
// 3.1.1 [MQTT-3.1.4-2]). Nobody comes by that id by chance, since every connection
// has an ending of its own: it is read here off the guard's own way to the broker.
func takeClientID(_ context.Context, w *World, fleet []*sim.Node) error {
	ids := map[string]string{}
	for _, g := range w.Guards.Greetings() {
		if id, err := clientID(g); err == nil {
			ids[id[:max(0, strings.LastIndexByte(id, '-'))]] = id
		}
	}
	errs := make([]error, len(fleet))
	var wait sync.WaitGroup
	for i, n := range fleet {
		id := ids["pinfold-"+n.Vehicle]
		if id == "" {
			return fmt.Errorf("the guard's client id for %s was not seen", n.Vehicle)
		}
		wait.Go(func() { errs[i] = w.stranger(id) })
	}
	wait.Wait()
	return errors.Join(errs...)
}

// stranger connects under a client id.
func (w *World) stranger(id string) error {
	c, err := net.DialTimeout("tcp", strings.TrimPrefix(w.Broker.URL, "mqtt://"), time.Second)
	if err != nil {
		return err
	}
	w.after(func() { _ = c.Close() })
	if _, err := c.Write(connect(id)); err != nil {
		return err
	}
	var answer [4]byte // CONNACK, §3.2
	_ = c.SetReadDeadline(time.Now().Add(5 * time.Second))
	if _, err := c.Read(answer[:]); err != nil || answer[0] != 0x20 || answer[3] != 0 {
		return fmt.Errorf("the broker does not take a second client of the same id: %x, %w", answer, err)
	}
	return nil
}

// connect is a CONNECT of MQTT 3.1.1 (§3.1): a clean session, no keep alive.
func connect(id string) []byte {
	rest := []byte{0, 4, 'M', 'Q', 'T', 'T', 4, 2, 0, 0}
	rest = binary.BigEndian.AppendUint16(rest, uint16(len(id)))
	rest = append(rest, id...)
	return append([]byte{0x10, byte(len(rest))}, rest...) // an id of less than 100 bytes
}

// clientID reads the client id of a CONNECT.
func clientID(packet []byte) (string, error) {
	at := 1
	for at < len(packet) && packet[at]&0x80 != 0 { // the remaining length, §2.2.3
		at++
	}
	at += 1 + 2 + 4 + 1 + 1 + 2 // it, then name, level, flags, keep alive
	if len(packet) < at+2 || packet[0] != 0x10 {
		return "", errors.New("no CONNECT of MQTT 3.1.1")
	}
	n := int(binary.BigEndian.Uint16(packet[at:]))
	if len(packet) < at+2+n {
		return "", errors.New("a CONNECT that is cut")
	}
	return string(packet[at+2 : at+2+n]), nil
}
