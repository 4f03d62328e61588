//go:build unix && !race

package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"syscall"
	"testing"

	"github.com/creack/pty"
	"github.com/stretchr/testify/require"
)

// stranger is mealtab run by a user who is neither the port's owner nor in its group nor the superuser.
func stranger(t testing.TB, args ...string) *exec.Cmd {
	t.Helper()
	cmd := command(t, args...)
	if os.Geteuid() != 0 {
		return cmd
	}
	data, err := os.ReadFile(cmd.Path)
	require.NoError(t, err)
	dir, err := os.MkdirTemp("", "mealtab-")
	require.NoError(t, err)
	t.Cleanup(func() { os.RemoveAll(dir) })
	require.NoError(t, os.Chmod(dir, 0o755))
	cmd.Path = filepath.Join(dir, "mealtab")
	require.NoError(t, os.WriteFile(cmd.Path, data, 0o755))
	cmd.Dir = dir
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
	return cmd
}

func TestPortRefused(t *testing.T) {
	t.Parallel()
	near, far, err := pty.Open()
	require.NoError(t, err)
	defer near.Close()
	defer far.Close()

	require.NoError(t, os.Chmod(far.Name(), 0))
	_, errs := finish(t, 1, "", stranger(t, "status", "--port", far.Name()))
	require.Regexp(t, regexp.MustCompile(`no permission to open the port(; join its group and log in again: sudo usermod -aG \w+ \$USER|: it is the superuser.s alone)`), errs)

	require.NoError(t, os.Chmod(far.Name(), 0o666))
	_, _, failed := syscall.Syscall(syscall.SYS_IOCTL, far.Fd(), syscall.TIOCEXCL, 0)
	require.Zero(t, failed)
	_, errs = finish(t, 1, "", stranger(t, "status", "--port", far.Name()))
	require.Contains(t, errs, "another program has the port open; close it")

	plain := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(plain, nil, 0o644))
	_, errs = mealtab(t, 1, "", "status", "--port", plain)
	require.Contains(t, errs, "this is not a serial port")
}
