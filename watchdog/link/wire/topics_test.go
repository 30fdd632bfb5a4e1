package wire

import (
	"strings"
	"testing"
)

func TestTopics(t *testing.T) {
	got, err := Topics("yard/north", "wren")
	want := TopicSet{Pose: "yard/north/wren/pose", Permit: "yard/north/wren/permit", Command: "yard/north/wren/command",
		State: "yard/north/wren/state", Ack: "yard/north/wren/ack", Request: "yard/north/wren/request", Align: "yard/north/wren/align", AllCommand: "yard/north/all/command"}
	if err != nil || got != want {
		t.Errorf("got %+v, %v", got, err)
	}
}

func TestNamesThatCannotStandInATopic(t *testing.T) {
	for _, name := range []string{"", "all", "a/b", "a+", "#", "a b", "a\x00", "a\u0085", "\xff", strings.Repeat("n", NameMax+1)} {
		if _, err := Topics(DefaultPrefix, name); err == nil {
			t.Errorf("name %q: no error", name)
		}
	}
	for _, prefix := range []string{"", "/", "a/", "/a", "a//b", "$SYS", "a/+", strings.Repeat("p/", NameMax)} {
		if set, err := Topics(prefix, "wren"); err == nil || set != (TopicSet{}) {
			t.Errorf("prefix %q: %+v, %v", prefix, set, err)
		}
	}
	for _, name := range []string{"wren", "Zaunkönig", "rover-2", "all2", strings.Repeat("n", NameMax)} {
		if _, err := Topics(DefaultPrefix, name); err != nil {
			t.Errorf("name %q: %v", name, err)
		}
	}
}
