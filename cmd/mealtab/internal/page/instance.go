package page

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"html"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// Instance is a running page that a second start of the program finds by a file in the user's cache directory, readable by
// that user only.
type Instance struct {
	Host   string `json:"host"` // 127.0.0.1:port
	Secret string `json:"secret"`
	PID    int    `json:"pid"`
}

// instanceFile is the file for a plan; every plan may have a page of its own.
func instanceFile(planFile string) (string, error) {
	dir, err := os.UserCacheDir()
	if err != nil {
		return "", err
	}
	full, err := filepath.Abs(planFile)
	if err != nil {
		return "", err
	}
	if planFile == "" {
		full = ""
	}
	sum := sha256.Sum256([]byte(full))
	return filepath.Join(dir, "mealtab", "page-"+hex.EncodeToString(sum[:8])+".json"), nil
}

// KeepUnsaved puts a text that its owner has not saved into the user's cache directory and says where it is.
func KeepUnsaved(planFile string, text []byte) (file string, err error) {
	name, err := instanceFile(planFile)
	if err != nil {
		return "", err
	}
	file = strings.TrimSuffix(name, ".json") + "-unsaved.toml"
	if err := os.MkdirAll(filepath.Dir(file), 0o700); err != nil {
		return "", err
	}
	return file, os.WriteFile(file, text, 0o600)
}

// Remember writes the file; forget removes it again.
func (i Instance) Remember(planFile string) (forget func(), err error) {
	name, err := instanceFile(planFile)
	if err != nil {
		return nil, err
	}
	data, err := json.Marshal(i)
	if err != nil {
		return nil, err
	}
	if err := writePrivate(name, data); err != nil {
		return nil, err
	}
	return func() {
		_ = os.Remove(name)
		_ = os.Remove(strings.TrimSuffix(name, ".json") + "-open.html")
	}, nil
}

// OpeningFile writes a page that leads to a link, readable by this user only: the arguments of a browser that is being started can be read by
// everybody on this computer, and the link lets in whoever comes first.
func OpeningFile(planFile, link string) (file string, err error) {
	name, err := instanceFile(planFile)
	if err != nil {
		return "", err
	}
	file = strings.TrimSuffix(name, ".json") + "-open.html"
	text := fmt.Sprintf(`<!DOCTYPE html><html lang="en"><meta charset="utf-8"><title>mealtab</title><meta http-equiv="refresh" content="0;url=%[1]s"><p><a href="%[1]s">Go on to the page</a></p></html>`, html.EscapeString(link))
	return file, writePrivate(file, []byte(text))
}

// writePrivate writes a new file that only the user can read.
func writePrivate(name string, data []byte) error {
	if err := os.MkdirAll(filepath.Dir(name), 0o700); err != nil {
		return err
	}
	_ = os.Remove(name) // so that the new one has its own permissions
	f, err := os.OpenFile(name, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	return errors.Join(err, f.Close())
}

// FindLink asks a page that already runs for a plan for a new link; ok is false where none answers.
func FindLink(ctx context.Context, planFile string) (link string, ok bool) {
	name, err := instanceFile(planFile)
	if err != nil {
		return "", false
	}
	data, err := os.ReadFile(name)
	if err != nil {
		return "", false
	}
	var i Instance
	if json.Unmarshal(data, &i) != nil || hostName(i.Host) != loopbackNumber {
		return "", false
	}
	ctx, cancel := context.WithTimeout(ctx, 2*time.Second)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, "http://"+i.Host+linkPath, http.NoBody)
	if err != nil {
		return "", false
	}
	r.Header.Set("Authorization", "Bearer "+i.Secret)
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		return "", false // stopped without cleaning up
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(io.LimitReader(answer.Body, 1000))
	link = string(text)
	u, bad := url.Parse(link)
	if err != nil || bad != nil || answer.StatusCode != http.StatusOK || u.Scheme != "http" || u.Path != openPath {
		return "", false
	}
	_, port, _ := net.SplitHostPort(i.Host)
	return link, u.Port() == port && (u.Hostname() == loopbackNumber || strings.HasSuffix(u.Hostname(), ".localhost"))
}
