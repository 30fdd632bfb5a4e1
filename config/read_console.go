package config

import (
	"net"
	"strconv"
)

// ConsoleListen is where the page is served where the file has [console] and
// does not say: on this machine alone.
const ConsoleListen = "127.0.0.1:8087"

const listenNext = `write it like listen = "127.0.0.1:8087"`

// readConsole reads [console]; without it no page is served.
func (l *loader) readConsole(root *table) Console {
	t := root.sub("console")
	if !t.given {
		return Console{}
	}
	c := Console{Listen: t.text("listen", ConsoleListen, MaxName)}
	if _, ok := t.m["token"]; ok {
		t.ask("token")
		t.m["token"] = "…" // never shown
		t.report("token", "has no place in a file that is copied into the trail", "put the token into a file of its own, readable by the daemon alone, and name it in token_file")
	}
	c.TokenFile = l.tried(t, "token_file")
	if t.fine("listen") {
		l.consoleListen(t, c.Listen)
	}
	t.done()
	return c
}

// consoleListen checks the address, and says what it means to serve others.
func (l *loader) consoleListen(t *table, listen string) {
	host, port, err := net.SplitHostPort(listen)
	n, portErr := strconv.Atoi(port)
	switch {
	case err != nil:
		t.report("listen", "is not an address and a port", listenNext)
	case host == "":
		t.report("listen", "names no address, which would be all of them", listenNext+`, or "0.0.0.0:8087" if every network of this machine is meant`)
	case host != "localhost" && net.ParseIP(host) == nil:
		t.report("listen", "names a host instead of an address", "write the address itself, so that no name server decides who is served")
	case portErr != nil || n < 1 || n > 65535:
		t.report("listen", "has a port that is not from 1 to 65535", listenNext)
	case isLoopback(host):
	case t.has("token_file"):
		l.caution(t.at.key("listen"), t.name("listen"), show(listen), "serves the page to a network unencrypted: whoever reaches it can watch and stop, and whoever listens in can read the token", "serve it on 127.0.0.1 and reach it through a tunnel, or keep that network to those who may start the vehicles")
	default:
		l.caution(t.at.key("listen"), t.name("listen"), show(listen), "serves the page to a network unencrypted: whoever reaches it can watch and stop", "serve it on 127.0.0.1, or keep that network to those who may")
	}
}
