//go:build unix

package main

import (
	"syscall"
	"testing"

	"github.com/creack/pty"
	"github.com/stretchr/testify/require"

	"mealtab/flasher"
	"mealtab/flasher/ports"
)

// A port whose other end does not read and is full: whoever wants to talk over it ends, and says so.
func TestPortThatTakesNothing(t *testing.T) {
	near, far, err := pty.Open()
	require.NoError(t, err)
	defer near.Close()
	defer far.Close()
	l, err := ports.Open(far.Name(), flasher.DefaultBaud())
	require.NoError(t, err)
	defer l.Close()
	fill(t, int(far.Fd()))
	_, err = flasher.Connect(l)
	require.EqualError(t, err, far.Name()+": the port takes no octets: the device at its other end does not read them")
}

// fill writes to a port until it takes no more.
func fill(t *testing.T, fd int) {
	t.Helper()
	require.NoError(t, syscall.SetNonblock(fd, true))
	var err error
	for err == nil {
		_, err = syscall.Write(fd, make([]byte, 512))
	}
	require.ErrorIs(t, err, syscall.EAGAIN)
}
