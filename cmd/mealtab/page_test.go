package main

import (
	"bytes"
	"context"
	"io"
	"net"
	"net/http"
	"net/http/cookiejar"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// output is what a process has written so far.
type output struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (o *output) Write(p []byte) (int, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.b.Write(p)
}

func (o *output) String() string {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.b.String()
}

var linkForm = regexp.MustCompile(`http://m[0-9a-f]+\.localhost:(\d+)/open\?token=\S+`)

// The page as a process: it begins a plan that is not there, a second start finds it, and what was not saved is kept when it ends.
func TestPageProcess(t *testing.T) {
	program := filepath.Join(t.TempDir(), "mealtab")
	build := exec.Command("go", "build", "-o", program, ".")
	out, err := build.CombinedOutput()
	require.NoError(t, err, "%s", out)
	dir := t.TempDir()
	cache := t.TempDir()
	start := func() (*exec.Cmd, *output) {
		c := exec.Command(program, "page", "plan.toml", "--no-browser")
		c.Dir = dir
		c.Env = append(os.Environ(), "XDG_CACHE_HOME="+cache, "HOME="+cache)
		o := &output{}
		c.Stdout, c.Stderr = o, o
		require.NoError(t, c.Start())
		return c, o
	}
	one, said := start()
	defer func() { _ = one.Process.Kill() }()
	require.Eventually(t, func() bool { return strings.Contains(said.String(), "works once") }, 10*time.Minute, 20*time.Millisecond, "%s", said)

	two, found := start()
	require.NoError(t, two.Wait(), "%s", found)
	assert.Contains(t, found.String(), "The page is already there: ")

	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	link := linkForm.FindStringSubmatch(found.String())
	require.NotNil(t, link, "%s", found)
	client := &http.Client{Jar: jar, Transport: &http.Transport{DialContext: func(ctx context.Context, network, _ string) (net.Conn, error) {
		return (&net.Dialer{}).DialContext(ctx, network, "127.0.0.1:"+link[1]) // not every resolver knows names under .localhost
	}}}
	r, err := client.Get(link[0])
	require.NoError(t, err)
	r.Body.Close()
	r, err = client.Get(strings.SplitAfter(link[0], link[1])[0] + "/")
	require.NoError(t, err)
	body, err := io.ReadAll(r.Body)
	r.Body.Close()
	require.NoError(t, err)
	assert.Contains(t, string(body), "Juniper and Moss")
	assert.Contains(t, string(body), "changes not saved yet")

	require.NoError(t, one.Process.Signal(syscall.SIGTERM))
	require.NoError(t, one.Wait(), "%s", said)
	kept := regexp.MustCompile(`kept in (\S+)`).FindStringSubmatch(said.String())
	require.NotNil(t, kept, "%s", said)
	text, err := os.ReadFile(kept[1])
	require.NoError(t, err)
	assert.Equal(t, string(demoPlan), string(text))
	assert.NoFileExists(t, filepath.Join(dir, "plan.toml"))
}
