package wire

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// DefaultPrefix is the first part of every topic unless configured otherwise.
const DefaultPrefix = "pinfold"

// everyone is the name no vehicle may have: its command goes to all of them.
const everyone = "all"

// TopicSet holds the topics of one vehicle under one prefix.
type TopicSet struct {
	Pose       string // tracker → watchdog, QoS 0
	Permit     string // watchdog → vehicle, QoS 0, never retained
	Command    string // watchdog → vehicle, QoS 0, repeated until acknowledged
	State      string // watchdog → displays, QoS 1, retained
	Ack        string // vehicle → watchdog, QoS 0
	Request    string // operator → watchdog, QoS 1
	Align      string // who aligned → watchdog, QoS 1
	AllCommand string // broker's will → every vehicle, QoS 1
}

// Topics names the topics of a vehicle. An error says which name cannot stand
// in a topic and why; the set is then empty.
func Topics(prefix, vehicle string) (TopicSet, error) {
	if err := CheckPrefix(prefix); err != nil {
		return TopicSet{}, err
	}
	if err := CheckName(vehicle); err != nil {
		return TopicSet{}, err
	}
	base := prefix + "/" + vehicle + "/"
	return TopicSet{
		Pose:       base + "pose",
		Permit:     base + "permit",
		Command:    base + "command",
		State:      base + "state",
		Ack:        base + "ack",
		Request:    base + "request",
		Align:      base + "align",
		AllCommand: prefix + "/" + everyone + "/command",
	}, nil
}

// ProbeTopic is where the guard of a vehicle sends probes to itself: a topic that
// no other session uses. Session and vehicle are under the rules of a name.
func ProbeTopic(prefix, session, vehicle string) string {
	return prefix + "/guard/link/" + session + "/" + vehicle
}

// CheckName says why a vehicle's or a guard's name cannot stand on the wire:
// 1 to NameMax bytes of UTF-8, no '/', '+', '#', control or space, not "all".
func CheckName(name string) error {
	if name == everyone {
		return fmt.Errorf("the name %q is taken: its command goes to every vehicle; choose another", name)
	}
	return checkLevel("name", name)
}

// CheckPrefix says why a topic prefix cannot be used: one or more levels
// divided by '/', each under the rules of a name, none starting with '$' first.
func CheckPrefix(prefix string) error {
	if strings.HasPrefix(prefix, "$") {
		return fmt.Errorf("topic prefix %q begins with $, which belongs to the broker; choose another", prefix)
	}
	if len(prefix) > NameMax {
		return fmt.Errorf("topic prefix is %d bytes long, at most %d", len(prefix), NameMax)
	}
	for level := range strings.SplitSeq(prefix, "/") {
		if err := checkLevel("topic prefix", level); err != nil {
			return err
		}
	}
	return nil
}

func checkLevel(what, s string) error {
	switch {
	case s == "":
		return fmt.Errorf("%s is empty or has an empty level; give it at least one letter", what)
	case len(s) > NameMax:
		return fmt.Errorf("%s %.20q... is %d bytes long, at most %d", what, s, len(s), NameMax)
	case !utf8.ValidString(s):
		return fmt.Errorf("%s %q is not UTF-8", what, s)
	}
	for _, r := range s {
		if r <= ' ' || r == 0x7f || r == '/' || r == '+' || r == '#' || 0x80 <= r && r < 0xa0 {
			return fmt.Errorf("%s %q holds %q, which cannot stand in a topic; use letters, digits, - and _", what, s, r)
		}
	}
	return nil
}
