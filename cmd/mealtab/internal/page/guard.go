package page

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"encoding/hex"
	"net"
	"net/http"
	"slices"
	"strings"
	"sync"
)

// guard lets in only the browser of the user who started the program. Any web site may send requests to a loopback port (by
// forms, images or a host name that it points at 127.0.0.1), and other users of the computer may too; so every request must
// name the right host, come from this page, and carry the cookie that a link from the terminal was exchanged for. The host is a random name
// under .localhost, which always means this computer (RFC 6761 §6.3): browsers send a cookie to every port of a host (RFC 6265 §8.5), but
// no other program here has this one's name.
type guard struct {
	name    string // of the host
	mu      sync.Mutex
	tokens  []string // of links not used yet
	cookies []string // of browsers let in
	secret  string
}

// newGuard guards a page under a name of its own; byNumber: under 127.0.0.1, for browsers that do not know names under .localhost.
func newGuard(byNumber bool) *guard {
	g := &guard{name: loopbackNumber, secret: random()}
	if !byNumber {
		b := make([]byte, 10)
		_, _ = rand.Read(b)
		g.name = "m" + hex.EncodeToString(b) + ".localhost"
	}
	return g
}

const loopbackNumber = "127.0.0.1"

// random is 256 bits as text.
func random() string {
	b := make([]byte, 32)
	_, _ = rand.Read(b) // never fails: it ends the program instead
	return base64.RawURLEncoding.EncodeToString(b)
}

// mostTokens bounds the links that nobody opened.
const mostTokens = 8

func (g *guard) newToken() string {
	g.mu.Lock()
	defer g.mu.Unlock()
	t := random()
	g.tokens = append(g.tokens, t)
	if len(g.tokens) > mostTokens {
		g.tokens = g.tokens[1:]
	}
	return t
}

// policy lets the page load its own files and talk to itself, and nothing else.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

const (
	openPath = "/open"    // exchanges a token for the cookie
	linkPath = "/link"    // gives a second start of the program a link
	nameHead = "mealtab-" // of the cookie; the port follows, because cookies do not know ports (RFC 6265 §8.5)
)

func (g *guard) wrap(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		switch {
		case r.URL.Path == linkPath && hostName(r.Host) == loopbackNumber:
			g.link(w, r)
		case hostName(r.Host) != g.name:
			http.Error(w, "this page answers to the name in its link only", http.StatusMisdirectedRequest)
		case r.URL.Path == openPath:
			g.open(w, r)
		case !g.known(r):
			http.Error(w, "This page is private. Open it with the link that mealtab prints; each link works once.", http.StatusForbidden)
		case !ownRequest(r):
			http.Error(w, "this request comes from another site", http.StatusForbidden)
		default:
			next.ServeHTTP(w, r)
		}
	})
}

// hostName is the name in a Host header; "" where there is no port, for no browser leaves that of this page out.
func hostName(host string) string {
	name, _, err := net.SplitHostPort(host)
	if err != nil {
		return ""
	}
	return name
}

// ownRequest wants requests that change something to come from this page. Browsers send Origin with every POST.
func ownRequest(r *http.Request) bool {
	switch site := r.Header.Get("Sec-Fetch-Site"); site {
	case "", "same-origin", "none":
	default:
		return false
	}
	if r.Method == http.MethodGet || r.Method == http.MethodHead {
		return true
	}
	return r.Header.Get("Origin") == "http://"+r.Host
}

func cookieName(r *http.Request) string {
	_, port, _ := net.SplitHostPort(r.Host)
	return nameHead + port
}

func (g *guard) known(r *http.Request) bool {
	c, err := r.Cookie(cookieName(r))
	if err != nil {
		return false
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	return slices.ContainsFunc(g.cookies, func(k string) bool { return equal(k, c.Value) })
}

// equal takes the same time wherever the texts differ.
func equal(a, b string) bool { return subtle.ConstantTimeCompare([]byte(a), []byte(b)) == 1 }

// open exchanges a token for a cookie. It is the one thing that a GET changes: a link cannot be opened otherwise, and of the plan
// it changes nothing.
func (g *guard) open(w http.ResponseWriter, r *http.Request) {
	if r.Method != http.MethodGet || !g.use(r.URL.Query().Get("token")) {
		if g.known(r) { // the same link again, in a browser that is in already
			letIn(w)
			return
		}
		http.Error(w, "This link has been used. Start mealtab page again to get another.", http.StatusForbidden)
		return
	}
	c := &http.Cookie{Name: cookieName(r), Value: random(), Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode}
	g.mu.Lock()
	g.cookies = append(g.cookies, c.Value)
	g.mu.Unlock()
	http.SetCookie(w, c)
	letIn(w)
}

// letIn leads on to the page. A redirect would not do: to a browser that comes from a file it is still the request of a stranger, with which
// it sends no strict cookie.
func letIn(w http.ResponseWriter) {
	send(w, "text/html; charset=utf-8", []byte(`<!DOCTYPE html><html lang="en"><meta charset="utf-8"><title>mealtab</title><link rel="icon" href="/icon.svg" type="image/svg+xml"><meta http-equiv="refresh" content="0;url=/"><p><a href="/">Go on to the page</a></p></html>`))
}

// use takes a token out of those that are good.
func (g *guard) use(token string) bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	i := slices.IndexFunc(g.tokens, func(t string) bool { return equal(t, token) })
	if i < 0 {
		return false
	}
	g.tokens = slices.Delete(g.tokens, i, i+1)
	return true
}

// link answers a second start of the program, which knows the secret.
func (g *guard) link(w http.ResponseWriter, r *http.Request) {
	secret, ok := strings.CutPrefix(r.Header.Get("Authorization"), "Bearer ")
	if r.Method != http.MethodPost || !ok || !equal(secret, g.secret) {
		http.Error(w, "no", http.StatusForbidden)
		return
	}
	send(w, "text/plain; charset=utf-8", []byte(g.address(r.Host)))
}

// address is a link that works once, on the port of a host.
func (g *guard) address(host string) string {
	_, port, _ := net.SplitHostPort(host)
	return "http://" + net.JoinHostPort(g.name, port) + openPath + "?token=" + g.newToken()
}
