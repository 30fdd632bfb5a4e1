package config

import (
	"net"
	"strconv"
)

// readListen reads the table that says where something is served over HTTP to
// people and programs nearby. The empty address, where the table is not there:
// nowhere.
func readListen(root *table, name, like string) string {
	t := root.sub(name)
	addr := t.text("listen", "", MaxText)
	if t.given && !t.has("listen") {
		t.missing("listen", "say where, like listen = \""+like+"\", or remove ["+name+"]")
	}
	if t.fine("listen") && addr != "" {
		if what := badListen(addr); what != "" {
			t.report("listen", what, "write an address of this machine and a port, like listen = \""+like+"\"")
		}
	}
	t.done()
	return addr
}

// badListen says why addr cannot be listened on; empty: it may be.
func badListen(addr string) string {
	host, port, err := net.SplitHostPort(addr)
	if err != nil {
		return "is no host:port"
	}
	if n, err := strconv.ParseUint(port, 10, 16); err != nil || n == 0 {
		return "has no port from 1 to 65535"
	}
	if host == "" {
		return "names no address, which would be all of this machine's: say 0.0.0.0 or :: where that is meant"
	}
	return ""
}
