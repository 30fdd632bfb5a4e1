package app

import (
	"bytes"
	"context"
	"crypto/tls"
	"fmt"
	"os"
	"path/filepath"
	"slices"

	"pinfold/config"
	"pinfold/watchdog/console"
	"pinfold/watchdog/link/sign"
	"pinfold/watchdog/trail"
	"pinfold/zones"
)

// Console is what the page needs beside what the site file says of it.
type Console struct {
	Listen string // address and port; empty: what the site file says, which may be none
	Token  string // with Listen: what start and reset need; empty: nobody can there
	Safety string // the words that come first
	// Report makes the page of one session in folder. It may take long, and ends
	// with ctx. Nil: sessions are not looked back at.
	Report func(ctx context.Context, folder string) ([]byte, error)
}

// pastMost is how many past sessions are listed, the newest.
const pastMost = 50

// openConsole takes the page's address, where there is to be a page. It comes
// before the trail, which has things to say from its start on.
func (r *runner) openConsole() (err error) {
	c, own := &r.opt.Console, &r.opt.Site.Console
	listen, token := c.Listen, c.Token
	var secure *tls.Config
	if listen == "" {
		if listen = own.Listen; listen == "" {
			return nil
		}
		if token, err = readToken(own.TokenFile); err != nil {
			return err
		}
		if secure, err = pageTLS(own); err != nil {
			return err
		}
	}
	o := console.Options{Listen: listen, Token: token, TLS: secure, Site: r.pageSite(), Now: r.now, Ask: r.asked,
		Say: func(text string) { r.say(Line{At: r.now(), Text: text}) }}
	if c.Report != nil {
		o.Sessions = r.past
		o.Report = r.pastReport
	}
	r.opt.page, err = console.Listen(o)
	return err
}

// pageTLS is what the page is encrypted with; nil: it is not.
func pageTLS(c *config.Console) (*tls.Config, error) {
	if c.Cert == "" {
		return nil, nil
	}
	pair, err := tls.LoadX509KeyPair(c.Cert, c.Key)
	if err != nil {
		return nil, fmt.Errorf("the console's certificate: %w; see cert and key in [console]", err)
	}
	return &tls.Config{MinVersion: tls.VersionTLS12, Certificates: []tls.Certificate{pair}}, nil
}

func readToken(file string) (string, error) {
	if file == "" {
		return "", nil
	}
	b, err := os.ReadFile(file)
	if err != nil {
		return "", fmt.Errorf("the console's token: %w; see token_file in [console]", err)
	}
	word := string(bytes.TrimSpace(b))
	if err := console.CheckToken(word); err != nil {
		return "", fmt.Errorf("%s, which token_file in [console] names: %w", file, err)
	}
	return word, nil
}

// serveConsole opens the page to browsers, once there is something to see.
func (r *runner) serveConsole() {
	if r.opt.page == nil {
		return
	}
	r.opt.page.Serve()
	r.say(Line{At: r.now(), Text: "the console is at " + r.opt.page.Address()})
}

// asked takes a request of the page's to its vehicle's loop, as one that arrived
// from the broker: it is judged, recorded and judged again by replay as such.
func (r *runner) asked(vehicle int, request []byte) {
	k := r.keepers[vehicle]
	request = sign.New(k.signing.requestKey, k.topics.Request).Sign(request) // several may ask at once
	k.inbox.Put(subRequest, k.topics.Request, request, r.now())
}

// pageSite is what the page shows of the site in force. Its vehicles stand in the
// order of the loops, whose frames go by number: a site file that is read again
// may name them in another one.
func (r *runner) pageSite() console.Site {
	s := console.Site{Name: r.opt.Site.Name, Safety: r.opt.Console.Safety, Session: r.session.ID}
	for _, name := range r.names {
		if v, ok := r.opt.Site.Vehicle(name); ok { // none goes while running
			s.Vehicles = append(s.Vehicles, pageVehicle(v))
		}
	}
	return s
}

func pageVehicle(v *config.Vehicle) console.Vehicle {
	c := &v.Config
	out := console.Vehicle{Name: v.Name, Kind: c.Kind.String(), Radius: c.Radius, Height: c.Height,
		Limits: console.LimitsOf(c), Room: c.ZoneCaution}
	for i := range v.Shapes {
		out.Zones = append(out.Zones, pageZone(&v.Shapes[i], v.Shapes[i].Kind.String()))
	}
	for i := range c.Slow {
		out.Zones = append(out.Zones, pageZone(&c.Slow[i].Shape, "slow"))
	}
	for _, z := range c.Zones.Shapes() {
		out.Judged = append(out.Judged, z.Name)
	}
	return out
}

func pageZone(z *zones.Shape, kind string) console.Zone {
	out := console.Zone{Name: z.Name, Kind: kind, Floor: z.Floor, Ceiling: z.Ceiling}
	for _, ring := range z.Rings {
		points := make([][2]float64, 0, len(ring))
		for _, p := range ring {
			points = append(points, [2]float64{p.X, p.Y})
		}
		out.Rings = append(out.Rings, points)
	}
	return out
}

// past lists the newest sessions of the trail's folder, this one, which is still
// written, first.
func (r *runner) past() ([]console.Session, error) {
	all, err := trail.List(filepath.Dir(r.session.Folder))
	if err != nil {
		return nil, err
	}
	slices.SortFunc(all, func(a, b trail.Session) int { return b.Started.Compare(a.Started) })
	var out []console.Session
	for _, s := range all {
		one := console.Session{ID: filepath.Base(s.Folder), Started: s.Started, Seconds: s.Duration.Seconds(),
			Sealed: s.Sealed, Stops: s.Stops, Err: s.Err, Open: s.Folder == r.session.Folder}
		switch {
		case one.Open:
			one.Seconds, one.Err = r.now().Seconds(), ""
			out = slices.Insert(out, 0, one)
		case len(out) <= pastMost:
			out = append(out, one)
		}
	}
	return out, nil
}

// pastReport makes the page of one session. Only the names of sessions that are
// there are taken, so that no path leads elsewhere.
func (r *runner) pastReport(ctx context.Context, id string) ([]byte, error) {
	dir := filepath.Dir(r.session.Folder)
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, err
	}
	for _, e := range entries {
		folder := filepath.Join(dir, e.Name())
		if e.IsDir() && e.Name() == id {
			return r.opt.Console.Report(ctx, folder)
		}
	}
	return nil, fmt.Errorf("there is no session %q", id)
}
