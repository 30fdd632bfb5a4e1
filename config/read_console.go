package config

// ConsoleListen is where the page is served where the file has [console] and
// does not say: on this machine alone.
const ConsoleListen = "127.0.0.1:8087"

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
	c.Cert, c.Key = l.tried(t, "cert"), l.tried(t, "key")
	pair(t, "cert", "key", "a certificate goes with its key")
	pair(t, "key", "cert", "a key goes with its certificate")
	if t.fine("listen") {
		l.consoleListen(t, c.Listen)
	}
	t.done()
	return c
}

// consoleListen checks the address, and says what it means to serve others.
func (l *loader) consoleListen(t *table, listen string) {
	if !l.listens(t, listen, ConsoleListen) {
		return
	}
	if t.has("cert") {
		l.caution(t.at.key("listen"), t.name("listen"), show(listen), "serves the page to a network: whoever reaches it can watch and stop", "keep that network to those who may")
		return
	}
	what := "serves the page to a network unencrypted: whoever reaches it can watch and stop"
	next := "serve it on 127.0.0.1, or keep that network to those who may"
	if t.has("token_file") {
		what += ", and whoever listens in can read the token"
		next = "encrypt it with cert and key, or serve it on 127.0.0.1 and reach it through a tunnel, or keep that network to those who may start the vehicles"
	}
	l.caution(t.at.key("listen"), t.name("listen"), show(listen), what, next)
}
