package link

import (
	"bufio"
	"bytes"
	"errors"
	"io"
	"testing"
	"testing/iotest"

	"github.com/eclipse/paho.mqtt.golang/packets"
	"pgregory.net/rapid"
)

// reader reads b as if it came from a broker.
func reader(r io.Reader) *conn { return &conn{in: bufio.NewReaderSize(r, 64)} }

func publishPacket(topic string, payload []byte, qos byte) []byte {
	p := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
	p.TopicName, p.Payload, p.Qos, p.MessageID, p.Retain = topic, payload, qos, 7, true
	var b bytes.Buffer
	_ = p.Write(&b) // a buffer takes everything
	return b.Bytes()
}

// TestShortPacketsPassUnchanged: whatever is no oversize PUBLISH comes out as
// it went in, however the reads fall.
func TestShortPacketsPassUnchanged(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var stream []byte
		for range rapid.IntRange(1, 6).Draw(t, "packets") {
			size := rapid.OneOf(rapid.IntRange(0, 300), rapid.Just(16383), rapid.Just(MaxMax)).Draw(t, "size")
			stream = append(stream, publishPacket("pinfold/wren/pose", make([]byte, size), rapid.SampledFrom([]byte{0, 1}).Draw(t, "qos"))...)
			stream = append(stream, 0xd0, 0) // PINGRESP, §3.13
		}
		c := reader(iotest.HalfReader(bytes.NewReader(stream)))
		var got []byte
		buf := make([]byte, rapid.IntRange(1, 5000).Draw(t, "read"))
		for {
			n, err := c.Read(buf)
			got = append(got, buf[:n]...)
			if err == io.EOF {
				break
			}
			if err != nil {
				t.Fatal(err)
			}
		}
		if !bytes.Equal(got, stream) {
			t.Fatalf("%d bytes came out of %d, or others", len(got), len(stream))
		}
	})
}

func TestLongPublishIsCutAndTheNextOneWhole(t *testing.T) {
	long, next := publishPacket("a/b", bytes.Repeat([]byte{'x'}, 10<<20), 1), publishPacket("c", []byte("whole"), 0)
	c := reader(bytes.NewReader(append(long, next...)))
	first, err := packets.ReadPacket(c)
	if err != nil {
		t.Fatal(err)
	}
	p := first.(*packets.PublishPacket)
	if p.TopicName != "a/b" || p.MessageID != 7 || p.Qos != 1 || !p.Retain || len(p.Payload) <= MaxMax || len(p.Payload) > maxPacket {
		t.Errorf("cut packet: topic %q id %d qos %d retain %v, %d bytes", p.TopicName, p.MessageID, p.Qos, p.Retain, len(p.Payload))
	}
	second, err := packets.ReadPacket(c)
	if err != nil {
		t.Fatal(err)
	}
	if p := second.(*packets.PublishPacket); p.TopicName != "c" || string(p.Payload) != "whole" {
		t.Errorf("next packet: topic %q payload %q", p.TopicName, p.Payload)
	}
}

// With the longest topic there is, a cut payload is still longer than any queue keeps.
func TestCutShowsWithTheLongestTopic(t *testing.T) {
	topic := string(bytes.Repeat([]byte{'t'}, 65535))
	p, err := packets.ReadPacket(reader(bytes.NewReader(publishPacket(topic, make([]byte, 1<<20), 1))))
	if err != nil {
		t.Fatal(err)
	}
	if n := len(p.(*packets.PublishPacket).Payload); n != MaxMax+1 {
		t.Fatalf("%d bytes left, want %d", n, MaxMax+1)
	}
}

func TestMalformedHeaders(t *testing.T) {
	for name, b := range map[string][]byte{
		"length of five bytes":   {0x30, 0xff, 0xff, 0xff, 0xff, 1},
		"SUBACK of 16 megabytes": {0x90, 0xff, 0xff, 0xff, 0x07},
	} {
		if _, err := reader(bytes.NewReader(b)).Read(make([]byte, 10)); !errors.Is(err, errHeader) {
			t.Errorf("%s: %v, want %v", name, err, errHeader)
		}
	}
}
