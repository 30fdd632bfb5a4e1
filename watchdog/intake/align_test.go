package intake

import (
	"testing"
	"time"

	"pinfold/watchdog"
	"pinfold/watchdog/link/wire"
)

// The file reaches the core byte for byte, by either way, and says which it was.
func TestAlignEntries(t *testing.T) {
	const file = "{\n  \"alignment\": 1\n}\n"
	m := wire.Align{By: "hall lead", Nonce: "n", File: file}
	e := Entry{Kind: uint8(watchdog.EvAlign), Flags: Retained, Arrived: time.Second, Payload: m.Append(nil)}
	ev, err := e.Event()
	if err != nil || ev.Kind != watchdog.EvAlign || string(ev.Payload) != file || ev.By != "hall lead" || ev.Nonce != "n" || !ev.Retained || ev.Local {
		t.Errorf("by message: %+v, %v", ev, err)
	}
	e = Entry{Kind: KindAlign, Arrived: time.Second, Payload: []byte(file)}
	ev, err = e.Event()
	if err != nil || ev.Kind != watchdog.EvAlign || string(ev.Payload) != file || !ev.Local || ev.Retained {
		t.Errorf("from the site's files: %+v, %v", ev, err)
	}
	for _, bad := range []Entry{
		{Kind: uint8(watchdog.EvAlign), Payload: []byte("{")},
		{Kind: uint8(watchdog.EvAlign), Flags: TooLarge, Payload: m.Append(nil)},
	} {
		if ev, err := bad.Event(); err != nil || ev.Kind != watchdog.EvBad || ev.Text == "" {
			t.Errorf("%+v, %v", ev, err)
		}
	}
}
