// Package running keeps a list of the emulated boards that run on this computer: files in the user's cache directory, one a board.
//
// In: the name of a board's port. Out: the names of those that run now. A board whose program was killed leaves a file; it is removed when
// nothing listens there any more.
package running

import (
	"fmt"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"mealtab/flasher/ports"
)

// directory is where the files are.
func directory() (string, error) {
	dir, err := os.UserCacheDir()
	if err != nil {
		return "", err
	}
	return filepath.Join(dir, "mealtab", "boards"), nil
}

// Announce puts a board on the list until forget is called.
func Announce(port string) (forget func(), err error) {
	dir, err := directory()
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, err
	}
	file := filepath.Join(dir, fmt.Sprintf("board-%d", os.Getpid()))
	if err := os.WriteFile(file, []byte(port+"\n"), 0o600); err != nil {
		return nil, err
	}
	return func() { _ = os.Remove(file) }, nil
}

// reachable is how long a board on this computer is waited for.
const reachable = time.Second

// Boards lists the boards that run, as ports.
func Boards() (list []ports.Port) {
	dir, err := directory()
	if err != nil {
		return nil
	}
	files, _ := filepath.Glob(filepath.Join(dir, "board-*"))
	slices.Sort(files)
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			continue
		}
		name := strings.TrimSpace(string(text))
		address, ok := ports.TCPAddress(name)
		if !ok || !loopback(address) {
			continue // not written by us
		}
		c, err := net.DialTimeout("tcp", address, reachable)
		if err != nil {
			_ = os.Remove(file)
			continue
		}
		_ = c.Close()
		list = append(list, ports.Port{Name: name, Product: "emulated board"})
	}
	return list
}

func loopback(address string) bool {
	host, _, err := net.SplitHostPort(address)
	return err == nil && net.ParseIP(host).IsLoopback()
}
