//go:build unix

package ports

import (
	"errors"
	"os"
	"os/user"
	"strconv"
	"syscall"
)

// groupOf is the name of the group that a port belongs to.
func groupOf(name string) (string, error) {
	info, err := os.Stat(name)
	if err != nil {
		return "", err
	}
	stat, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return "", errors.New("no owner known")
	}
	g, err := user.LookupGroupId(strconv.Itoa(int(stat.Gid)))
	if err != nil {
		return "", err
	}
	return g.Name, nil
}
