package receiver

import "pinfold/watchdog/link/wire"

// latch is the command that holds the vehicle, and the ones heard before.
type latch struct {
	action Action // None: open
	heard  [commandsKept]string
	next   int
}

// remember notes the id of a command; it is false for one heard before.
func (l *latch) remember(id string) bool {
	for _, known := range l.heard {
		if known == id {
			return false
		}
	}
	l.heard[l.next] = id
	l.next = (l.next + 1) % len(l.heard)
	return true
}

func (l *latch) why() string {
	if l.action == Land {
		return "a land command is latched"
	}
	return "a stop command is latched"
}

// parseAction reads a decoded command's word, which is Stop or Land.
func parseAction(word string) Action {
	if word == wire.Land {
		return Land
	}
	return Stop
}
