package receiver_test

import (
	"fmt"
	"time"

	"pinfold/watchdog/link/receiver"
)

// A vehicle in twenty lines: three topics in, one out, one question a turn.
func Example() {
	r, err := receiver.New(receiver.Options{Lost: receiver.Land})
	if err != nil {
		fmt.Println(err)
		return
	}
	start := time.Now()
	clock := func() int64 { return int64(time.Since(start)) } // the clock that stamps the poses
	publish := func(topic string, payload []byte) { fmt.Println(topic, len(payload) > 0) }

	onMessage := func(topic string, payload []byte, retained bool) { // called by the MQTT client
		switch topic {
		case "pinfold/wren/permit":
			r.Permit(payload, retained, clock())
		case "pinfold/wren/command":
			if ack := r.Command(payload, retained, clock()); ack != nil {
				publish("pinfold/wren/ack", ack)
			}
		case "pinfold/all/command":
			r.AllCommand(payload, retained, clock())
		}
	}
	turn := func() { // of the control loop
		v := r.MayMove(clock())
		fmt.Printf("%v, %v, %q\n", v.Go, v.Action, v.Why)
	}

	permit := `{"guard":"hall","session":"a1","seq":%d,"go":%v,"stamp":%.9f,"valid":0.25}`
	turn()
	onMessage("pinfold/wren/permit", fmt.Appendf(nil, permit, 1, false, time.Since(start).Seconds()), false)
	turn()
	onMessage("pinfold/wren/permit", fmt.Appendf(nil, permit, 2, true, time.Since(start).Seconds()), false)
	turn()
	onMessage("pinfold/wren/command", []byte(`{"id":"a1-1","seq":1,"action":"stop","cause":"zone","zone":"cage",`+
		`"value":0.1,"limit":0,"stamp":1,"valid":0.25}`), false)
	turn()
	// Output:
	// false, land, "no permit yet"
	// false, land, "the permit is withheld"
	// true, none, ""
	// pinfold/wren/ack true
	// false, stop, "a stop command is latched"
}
