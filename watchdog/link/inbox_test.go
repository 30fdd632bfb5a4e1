package link

import (
	"bytes"
	"fmt"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func mustInbox(tb testing.TB, queues ...Queue) *Inbox {
	tb.Helper()
	in, err := NewInbox(queues...)
	if err != nil {
		tb.Fatal(err)
	}
	return in
}

func TestManyPosesPushOutNoAck(t *testing.T) {
	in := mustInbox(t, Queue{Depth: 4}, Queue{Depth: 2})
	in.put(1, "ack", []byte("a"), false, 1)
	for i := range 100 {
		in.put(0, "pose", []byte{byte(i)}, false, time.Duration(i+2))
	}
	if in.Dropped() != 96 || in.DroppedFrom(0) != 96 || in.DroppedFrom(1) != 0 || in.DroppedFrom(7) != 0 {
		t.Fatalf("dropped %d, of them poses %d, acks %d; want 96, 96, 0", in.Dropped(), in.DroppedFrom(0), in.DroppedFrom(1))
	}
	var m Message
	var got []string
	for in.Take(&m) {
		got = append(got, fmt.Sprintf("%s %d %v %v", m.Topic, m.Sub, m.Payload, m.Arrived))
	}
	want := "[ack 1 [97] 1ns pose 0 [96] 98ns pose 0 [97] 99ns pose 0 [98] 100ns pose 0 [99] 101ns]"
	if fmt.Sprint(got) != want {
		t.Fatalf("took %v, want the ack and the four newest poses: %v", got, want)
	}
}

func TestLongPayloadIsCutAndFlagged(t *testing.T) {
	in := mustInbox(t, Queue{Max: 10})
	for size, large := range map[int]bool{9: false, 10: false, 11: true, 10 << 20: true} {
		in.put(0, "t", bytes.Repeat([]byte{'x'}, size), true, 0)
		var m Message
		if !in.Take(&m) || m.TooLarge != large || len(m.Payload) != min(size, 10) || cap(m.Payload) > 64 || !m.Retained {
			t.Errorf("%d bytes: kept %d (room %d), too large %v", size, len(m.Payload), cap(m.Payload), m.TooLarge)
		}
	}
}

func TestReadyIsToldOnceAndNeverBlocks(t *testing.T) {
	in := mustInbox(t)
	for range 200 {
		in.put(0, "t", nil, false, 0)
	}
	<-in.Ready()
	select {
	case <-in.Ready():
		t.Fatal("told twice before anything was taken")
	default:
	}
	var m Message
	n := 0
	for in.Take(&m) {
		n++
	}
	if n != DefaultDepth || in.Dropped() != 200-DefaultDepth {
		t.Fatalf("took %d, dropped %d; want %d and %d", n, in.Dropped(), DefaultDepth, 200-DefaultDepth)
	}
	in.put(0, "t", nil, false, 0)
	<-in.Ready()
}

func TestInboxUsesItsBuffersAgain(t *testing.T) {
	in := mustInbox(t, Queue{Depth: 8})
	payload := make([]byte, 250)
	var m Message
	turn := func() {
		for range 10 { // two more than fit
			in.put(0, "pose", payload, false, 0)
		}
		for in.Take(&m) {
			_ = m
		}
	}
	for range 3 {
		turn()
	}
	if n := testing.AllocsPerRun(100, turn); n != 0 {
		t.Fatalf("%v allocations a turn, want none", n)
	}
}

// TestInboxAgainstLists holds the rings against plain lists: what is taken is
// what was put, in order of arrival over all queues, without the oldest ones.
func TestInboxAgainstLists(t *testing.T) {
	type kept struct {
		id   int
		text string
	}
	rapid.Check(t, func(t *rapid.T) {
		depths := rapid.SliceOfN(rapid.IntRange(1, 5), 1, 4).Draw(t, "depths")
		queues := make([]Queue, len(depths))
		for i, d := range depths {
			queues[i].Depth = d
		}
		in, err := NewInbox(queues...)
		if err != nil {
			t.Fatal(err)
		}
		var list []kept
		var m Message
		for i := range rapid.IntRange(0, 60).Draw(t, "steps") {
			if rapid.Bool().Draw(t, "take") {
				if got := in.Take(&m); got != (len(list) > 0) {
					t.Fatalf("take said %v with %d waiting", got, len(list))
				} else if got {
					if m.Sub != list[0].id || string(m.Payload) != list[0].text {
						t.Fatalf("took %d %q, want %v", m.Sub, m.Payload, list[0])
					}
					list = list[1:]
				}
				continue
			}
			k := kept{rapid.IntRange(0, len(depths)-1).Draw(t, "queue"), fmt.Sprint("message ", i)}
			in.put(k.id, "t", []byte(k.text), false, 0)
			list = append(list, k)
			same, oldest := 0, -1
			for j := range list {
				if list[j].id == k.id {
					if same++; oldest < 0 {
						oldest = j
					}
				}
			}
			if same > depths[k.id] {
				list = append(list[:oldest:oldest], list[oldest+1:]...)
			}
		}
	})
}

func TestInboxBounds(t *testing.T) {
	for _, queues := range [][]Queue{
		{{Depth: -1}}, {{Depth: MaxDepth + 1}}, {{Max: -1}}, {{Max: MaxMax + 1}}, make([]Queue, MaxQueues+1),
	} {
		if in, err := NewInbox(queues...); err == nil {
			t.Errorf("%v: no error, got %v", queues, in)
		}
	}
}
