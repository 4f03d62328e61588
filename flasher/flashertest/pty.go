package flashertest

import (
	"os"
	"testing"
	"time"

	"github.com/creack/pty"
)

// Terminal puts an emulated board behind a pseudo-terminal, in real time, and returns the name of the port. The board's world begins at
// its own date but goes on with ours. The board must not be used otherwise until the test ends.
func Terminal(t testing.TB, e *Emulated) string {
	t.Helper()
	near, far, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	input := make(chan []byte, 64)
	stop, stopped := make(chan struct{}), make(chan struct{})
	go func() {
		for {
			b := make([]byte, 256)
			n, err := near.Read(b)
			if err != nil {
				close(input)
				return
			}
			input <- b[:n]
		}
	}()
	go func() {
		defer close(stopped)
		e.realTime(near, input, stop)
	}()
	t.Cleanup(func() {
		close(stop)
		<-stopped
		near.Close()
		far.Close()
	})
	return far.Name()
}

// realTime lets the board keep up with the clock on the wall, a millisecond at a time.
func (e *Emulated) realTime(to *os.File, input <-chan []byte, stop <-chan struct{}) {
	began, first := time.Now(), e.Board.Nanos()
	tick := time.NewTicker(time.Millisecond)
	defer tick.Stop()
	for {
		select {
		case <-stop:
			return
		case b, open := <-input:
			if !open {
				return
			}
			_, _ = e.Write(b)
		case <-tick.C:
		}
		target := first + uint64(time.Since(began))
		e.Sleep(time.Duration(target - e.Board.Nanos()))
		var out [256]byte
		if n, _ := e.Read(out[:], 0); n > 0 {
			if _, err := to.Write(out[:n]); err != nil {
				return
			}
		}
	}
}
