package console

import (
	"crypto/sha256"
	"crypto/subtle"
	"net"
	"net/http"
	"net/url"
	"os"
	"strings"
	"sync"

	"golang.org/x/time/rate"
)

// limits are the rates that hold for everybody together, and for guesses of the
// token from one address.
type limits struct {
	ordinary, motion *rate.Limiter
	guesses          *perAddress
}

func newLimits() limits {
	return limits{ordinary: rate.NewLimiter(ordinaryRate, ordinaryBurst), motion: rate.NewLimiter(motionRate, motionBurst),
		guesses: newPerAddress(guessRate, guessBurst)}
}

// perAddress is a rate for each address, so that one that asks too much takes
// nothing from the others.
type perAddress struct {
	rate  rate.Limit
	burst int
	mu    sync.Mutex
	all   map[string]*rate.Limiter
}

func newPerAddress(r rate.Limit, burst int) *perAddress {
	return &perAddress{rate: r, burst: burst, all: map[string]*rate.Limiter{}}
}

// of is the rate of the host in an address. Where there are more than can be told
// apart, those that have been quiet are forgotten; the others share one.
func (p *perAddress) of(address string) *rate.Limiter {
	host, _, _ := net.SplitHostPort(address)
	p.mu.Lock()
	defer p.mu.Unlock()
	if l := p.all[host]; l != nil {
		return l
	}
	if len(p.all) >= addresses {
		for h, l := range p.all {
			if l.Tokens() >= float64(p.burst) {
				delete(p.all, h)
			}
		}
	}
	if len(p.all) >= addresses {
		host = "others"
	}
	l := p.all[host]
	if l == nil {
		l = rate.NewLimiter(p.rate, p.burst)
		p.all[host] = l
	}
	return l
}

// ours says why a request is not from a page of this server: its Host must name
// this machine by the address it came to, so that no name elsewhere can be
// pointed here, and no page of another origin may ask for anything but to be
// taken here (Fetch Standard, Sec-Fetch-Site; RFC 6454, Origin).
func ours(r *http.Request) string {
	if !hostOurs(r) {
		return "this console is asked by a name it does not go by; open it by its address"
	}
	if o := r.Header.Get("Origin"); o != "" {
		u, err := url.Parse(o)
		if err != nil || u.Scheme != "https" && (u.Scheme != "http" || r.TLS != nil) || !strings.EqualFold(u.Host, r.Host) {
			return "a page from elsewhere has no say here"
		}
	}
	switch r.Header.Get("Sec-Fetch-Site") {
	case "", "same-origin", "none":
		return ""
	}
	if r.Method == http.MethodGet && r.Header.Get("Sec-Fetch-Mode") == "navigate" && r.Header.Get("Sec-Fetch-Dest") == "document" {
		return ""
	}
	return "a page from elsewhere has no say here"
}

// hostOurs says whether the Host header is an address, localhost, or this
// machine's own name.
func hostOurs(r *http.Request) bool {
	host, port, err := net.SplitHostPort(r.Host)
	if err != nil {
		if host, port = r.Host, "80"; r.TLS != nil {
			port = "443"
		}
	}
	at, ok := r.Context().Value(http.LocalAddrContextKey).(*net.TCPAddr)
	if !ok || port != portOf(at) {
		return false
	}
	host = strings.ToLower(strings.Trim(host, "[]"))
	if ip := net.ParseIP(host); ip != nil {
		return ip.Equal(at.IP)
	}
	if host == "localhost" {
		return at.IP.IsLoopback()
	}
	own, err := os.Hostname()
	own = strings.ToLower(own)
	return err == nil && own != "" && (host == own || host == own+".local")
}

func portOf(a *net.TCPAddr) string {
	_, port, _ := net.SplitHostPort(a.String())
	return port
}

// bearer says why r may not ask for motion, with the status of the answer; 0: it
// may. The token is taken from the Authorization header alone (RFC 6750 §2.1),
// which no page from elsewhere can set, and compared in constant time.
func (s *Server) bearer(r *http.Request) (status int, why string) {
	if s.opt.Token == "" {
		return http.StatusForbidden, "there is no token here, so nobody can start or reset from this page; name token_file in [console], or use pinfold ask"
	}
	scheme, word, _ := strings.Cut(r.Header.Get("Authorization"), " ")
	if !strings.EqualFold(scheme, "Bearer") || word == "" {
		return http.StatusUnauthorized, "start and reset need the token"
	}
	g := s.limit.guesses.of(r.RemoteAddr)
	got, want := sha256.Sum256([]byte(word)), sha256.Sum256([]byte(s.opt.Token))
	if subtle.ConstantTimeCompare(got[:], want[:]) == 1 && g.Tokens() >= 1 {
		return 0, ""
	}
	if !g.Allow() {
		return http.StatusTooManyRequests, "too many wrong tokens from here; wait some seconds"
	}
	return http.StatusForbidden, "the token is not the right one"
}
