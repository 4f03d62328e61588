//go:build unix

package main

import (
	"syscall"
	"testing"
	"time"

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
	defer keepFull(t, int(far.Fd()))()
	_, err = flasher.Connect(l)
	require.EqualError(t, err, far.Name()+": the port takes no octets: the device at its other end does not read them")
}

// keepFull writes to a port until it takes no more, and again whenever it does: the kernel moves octets on when it has the time.
func keepFull(t *testing.T, fd int) (stop func()) {
	t.Helper()
	require.NoError(t, syscall.SetNonblock(fd, true))
	full, done, ended := make(chan struct{}), make(chan struct{}), make(chan struct{})
	go func() {
		defer close(ended)
		for once := full; ; {
			for {
				if _, err := syscall.Write(fd, make([]byte, 512)); err != nil {
					break
				}
			}
			if once != nil {
				close(once)
				once = nil
			}
			select {
			case <-done:
				return
			case <-time.After(time.Millisecond):
			}
		}
	}()
	<-full
	return func() { close(done); <-ended }
}
