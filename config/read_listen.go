package config

import (
	"net"
	"strconv"
)

// MetricsListen is the address that an example gives for metrics.
const MetricsListen = "127.0.0.1:9187"

// readMetrics reads [metrics]; without it nothing of the kind is served.
func (l *loader) readMetrics(root *table) string {
	t := root.sub("metrics")
	if !t.given {
		return ""
	}
	addr := t.text("listen", "", MaxName)
	if !t.has("listen") {
		t.missing("listen", "say where, like listen = \""+MetricsListen+"\", or remove [metrics]")
	}
	if t.fine("listen") && l.listens(t, addr, MetricsListen) {
		l.caution(t.at.key("listen"), t.name("listen"), show(addr), "tells a network where every vehicle is, unencrypted", "serve it on 127.0.0.1, or keep that network to those who may know")
	}
	t.done()
	return addr
}

// listens checks the address something is served at, and says whether others
// than this machine are served there.
func (l *loader) listens(t *table, listen, like string) (others bool) {
	next := `write it like listen = "` + like + `"`
	host, port, err := net.SplitHostPort(listen)
	n, portErr := strconv.Atoi(port)
	switch {
	case err != nil:
		t.report("listen", "is not an address and a port", next)
	case host == "":
		t.report("listen", "names no address, which would be all of them", next+`, or "0.0.0.0:`+port+`" if every network of this machine is meant`)
	case host != "localhost" && net.ParseIP(host) == nil:
		t.report("listen", "names a host instead of an address", "write the address itself, so that no name server decides who is served")
	case portErr != nil || n < 1 || n > 65535:
		t.report("listen", "has a port that is not from 1 to 65535", next)
	default:
		return !isLoopback(host)
	}
	return false
}
