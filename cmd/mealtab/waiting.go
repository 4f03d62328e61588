package main

import (
	"sync"
	"time"

	"github.com/schollz/progressbar/v3"
)

// waiting shows that something goes on whose end cannot be told: what it is, and for how long already. As a bar does it appears when a second has
// passed, on a terminal only. end takes it away; it must be called before anything else is written.
func (a *app) waiting(what string) (end func()) { return a.waitingSince(what, time.Now()) }

func (a *app) waitingSince(what string, begun time.Time) (end func()) {
	if !isTerminal(a.err) {
		return func() {}
	}
	over, gone := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(gone)
		patient := time.NewTimer(patience - time.Since(begun))
		defer patient.Stop()
		select {
		case <-over:
			return
		case <-patient.C:
		}
		shown := progressbar.NewOptions(-1, progressbar.OptionSetWriter(a.err), progressbar.OptionSetDescription(what),
			progressbar.OptionSpinnerType(9), progressbar.OptionSetElapsedTime(true), progressbar.OptionClearOnFinish())
		redraw := time.NewTicker(200 * time.Millisecond)
		defer redraw.Stop()
		for {
			_ = shown.Add(1)
			select {
			case <-over:
				_ = shown.Finish()
				return
			case <-redraw.C:
			}
		}
	}()
	return sync.OnceFunc(func() {
		close(over)
		<-gone
	})
}

// waiting is the same in a session, where it is the only one: several would draw over each other.
func (s *session) waiting(what string) (end func()) {
	if s.out.direct == nil {
		return func() {}
	}
	return s.a.waiting(what)
}
