package page

import (
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Requests as an attacker can make them: a web site that the user visits, a host name pointed at the loopback interface (DNS
// rebinding), another user of the computer.
func TestGuard(t *testing.T) {
	s := newSite(t, cats)
	host := s.http.Listener.Addr().String()
	own := "http://" + host
	var cookie *http.Cookie
	for _, c := range s.client.Jar.Cookies(mustURL(t, own)) {
		cookie = c
	}
	require.NotNil(t, cookie)
	for _, c := range []struct {
		what         string
		method, path string
		host         string
		header       map[string]string
		noCookie     bool
		want         int
	}{
		{what: "the page itself", method: "GET", path: "/", want: 200},
		{what: "a change by the page", method: "POST", path: "/api/undo", header: map[string]string{"Origin": own}, want: 200},
		{what: "by its other name", method: "GET", path: "/", host: "localhost" + host[strings.LastIndex(host, ":"):], want: 200},
		{what: "a name pointed here", method: "GET", path: "/", host: "evil.example" + host[strings.LastIndex(host, ":"):], want: 421},
		{what: "no host with a port", method: "GET", path: "/", host: "127.0.0.1", want: 421},
		{what: "no cookie", method: "GET", path: "/", noCookie: true, want: 403},
		{what: "no cookie, by POST", method: "POST", path: "/api/undo", header: map[string]string{"Origin": own}, noCookie: true, want: 403},
		{what: "no cookie for the state", method: "GET", path: "/try/state", noCookie: true, want: 403},
		{what: "a form of another site", method: "POST", path: "/api/undo", header: map[string]string{"Origin": "https://evil.example"}, want: 403},
		{what: "a POST without origin", method: "POST", path: "/api/undo", want: 403},
		{what: "a sandboxed frame", method: "POST", path: "/api/undo", header: map[string]string{"Origin": "null"}, want: 403},
		{what: "an image of another site", method: "GET", path: "/", header: map[string]string{"Sec-Fetch-Site": "cross-site"}, want: 403},
		{what: "another port of this host", method: "GET", path: "/", header: map[string]string{"Sec-Fetch-Site": "same-site"}, want: 403},
		{what: "a change by GET", method: "GET", path: "/api/undo", want: 405},
		{what: "a form's content type", method: "POST", path: "/api/undo", header: map[string]string{"Origin": own, "Content-Type": "text/plain"}, want: 422},
		{what: "a file beside the page", method: "GET", path: "/guard.go", want: 404},
		{what: "no secret", method: "POST", path: "/link", header: map[string]string{"Authorization": "Bearer guess"}, want: 403},
	} {
		r := httptest.NewRequest(c.method, "http://"+host+c.path, strings.NewReader(`{"revision":1}`))
		r.Host = host
		if c.host != "" {
			r.Host = c.host
			if want := nameHead + c.host[strings.LastIndex(c.host, ":")+1:]; want != cookie.Name {
				c.noCookie = true
			}
		}
		r.Header.Set("Content-Type", "application/json")
		for k, v := range c.header {
			r.Header.Set(k, v)
		}
		if !c.noCookie {
			r.AddCookie(cookie)
		}
		w := httptest.NewRecorder()
		s.server.Handler().ServeHTTP(w, r)
		assert.Equal(t, c.want, w.Code, "%s: %.200s", c.what, w.Body)
		assert.Equal(t, policy, w.Header().Get("Content-Security-Policy"), c.what)
		assert.Equal(t, "nosniff", w.Header().Get("X-Content-Type-Options"))
	}
}

func TestLinkWorksOnce(t *testing.T) {
	s := newSite(t, cats)
	host := s.http.Listener.Addr().String()
	link := s.server.Link(host)
	open := func() *http.Response {
		c := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
		r, err := c.Get(link)
		require.NoError(t, err)
		r.Body.Close()
		return r
	}
	r := open()
	assert.Equal(t, http.StatusSeeOther, r.StatusCode)
	require.Len(t, r.Cookies(), 1)
	c := r.Cookies()[0]
	assert.True(t, c.HttpOnly)
	assert.Equal(t, http.SameSiteStrictMode, c.SameSite)
	assert.Equal(t, http.StatusForbidden, open().StatusCode)
	other, err := http.Get("http://" + host + "/open?token=")
	require.NoError(t, err)
	other.Body.Close()
	assert.Equal(t, http.StatusForbidden, other.StatusCode)
}

// A second start finds the first by a file that nobody else can read, and gets a link that works.
func TestSecondStart(t *testing.T) {
	t.Setenv("XDG_CACHE_HOME", t.TempDir())
	t.Setenv("HOME", t.TempDir())
	s := newSite(t, cats)
	_, ok := FindLink(t.Context(), s.file)
	assert.False(t, ok)
	host := s.http.Listener.Addr().String()
	forget, err := Instance{Host: host, Secret: s.server.Secret()}.Remember(s.file)
	require.NoError(t, err)
	name, err := instanceFile(s.file)
	require.NoError(t, err)
	info, err := os.Stat(name)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	link, ok := FindLink(t.Context(), s.file)
	require.True(t, ok)
	r, err := http.Get(link)
	require.NoError(t, err)
	_, _ = io.Copy(io.Discard, r.Body)
	r.Body.Close()
	assert.Equal(t, http.StatusForbidden, r.StatusCode, "without a cookie jar the browser is let in and forgotten at once")
	_, ok = FindLink(t.Context(), s.file+"2")
	assert.False(t, ok, "another plan has a page of its own")
	forget()
	_, ok = FindLink(t.Context(), s.file)
	assert.False(t, ok)
}

func mustURL(t *testing.T, s string) *url.URL {
	t.Helper()
	u, err := url.Parse(s)
	require.NoError(t, err)
	return u
}
