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
	number := s.http.Listener.Addr().String()
	port := number[strings.LastIndex(number, ":"):]
	own := s.url
	host := strings.TrimPrefix(own, "http://")
	require.Regexp(t, `^m[0-9a-f]{20}\.localhost:\d+$`, host)
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
		{what: "by its number", method: "GET", path: "/", host: number, want: 421},
		{what: "by another name of this computer", method: "GET", path: "/", host: "localhost" + port, want: 421},
		{what: "a name pointed here", method: "GET", path: "/", host: "evil.example" + port, want: 421},
		{what: "a change by number", method: "POST", path: "/api/undo", host: number, header: map[string]string{"Origin": "http://" + number}, want: 421},
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
		{what: "a link for the page itself", method: "POST", path: "/link", header: map[string]string{"Origin": own}, want: 404},
		{what: "no secret", method: "POST", path: "/link", host: number, header: map[string]string{"Authorization": "Bearer guess"}, want: 403},
	} {
		r := httptest.NewRequest(c.method, "http://"+host+c.path, strings.NewReader(`{"revision":1}`))
		r.Host = host
		if c.host != "" {
			r.Host = c.host
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
	open := func() (*http.Response, string) {
		r, err := (&http.Client{Transport: s.client.Transport}).Get(link)
		require.NoError(t, err)
		defer r.Body.Close()
		text, err := io.ReadAll(r.Body)
		require.NoError(t, err)
		return r, string(text)
	}
	r, text := open()
	assert.Equal(t, http.StatusOK, r.StatusCode)
	assert.Contains(t, text, `content="0;url=/"`, "the browser goes on by itself: only then it sends the cookie")
	require.Len(t, r.Cookies(), 1)
	c := r.Cookies()[0]
	assert.True(t, c.HttpOnly)
	assert.Empty(t, c.Domain, "to this name only")
	assert.Equal(t, http.SameSiteStrictMode, c.SameSite)
	r, _ = open()
	assert.Equal(t, http.StatusForbidden, r.StatusCode)
	other, err := s.client.Get(s.url + "/open?token=")
	require.NoError(t, err)
	other.Body.Close()
	assert.Equal(t, http.StatusOK, other.StatusCode, "a browser that is in already")
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
	require.True(t, strings.HasPrefix(link, s.url+"/open?token="), link)
	r, err := (&http.Client{Transport: s.client.Transport}).Get(link)
	require.NoError(t, err)
	_, _ = io.Copy(io.Discard, r.Body)
	r.Body.Close()
	assert.Equal(t, http.StatusOK, r.StatusCode)
	file, err := OpeningFile(s.file, link)
	require.NoError(t, err)
	info, err = os.Stat(file)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm(), "only the user may read the link")
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	assert.Contains(t, string(text), link)
	_, ok = FindLink(t.Context(), s.file+"2")
	assert.False(t, ok, "another plan has a page of its own")
	forget()
	_, ok = FindLink(t.Context(), s.file)
	assert.False(t, ok)
	assert.NoFileExists(t, file)
}

// A browser that does not know names under .localhost finds the page by number; then the cookie is kept apart by its name.
func TestByNumber(t *testing.T) {
	o, _ := options(t, cats)
	o.ByNumber = true
	s, err := New(o)
	require.NoError(t, err)
	defer s.Close()
	assert.True(t, strings.HasPrefix(s.Link("127.0.0.1:8000"), "http://127.0.0.1:8000/open?token="))
}

func mustURL(t testing.TB, s string) *url.URL {
	t.Helper()
	u, err := url.Parse(s)
	require.NoError(t, err)
	return u
}
