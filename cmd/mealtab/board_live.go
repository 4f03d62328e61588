package main

import (
	"bufio"
	"fmt"
	"io"
	"net"
	"slices"
	"time"

	"mealtab/emulator/avr"
	"mealtab/emulator/board"
	"mealtab/emulator/scenario"
)

// live keeps a board in step with the computer's clock.
type live struct {
	b       *board.Board
	log     *scenario.Log
	diary   *diary
	sent    []byte // by the board, not yet on its lines
	lines   []*tap
	joining chan io.ReadWriter
	heard   chan []byte // from all lines
	speed   float64
	since   time.Time // from this time on with this speed
	from    uint64    // ns of the board at that time
	end     uint64    // ns; 0: never
	stopped bool
}

// slice is how long the board runs at a time: well below any time-out of a program at the line.
const slice = 2 * time.Millisecond

// tap is one of several lines to the same board: what it sends goes to all.
type tap struct {
	out  chan []byte
	gone chan struct{} // closed when nobody is there any more
}

func newLive(b *board.Board, log *scenario.Log, speed float64) *live {
	l := &live{b: b, log: log, diary: newDiary(b, log), joining: make(chan io.ReadWriter), heard: make(chan []byte)}
	b.Observe(func(e board.Event) {
		if e.Kind == board.LineSent {
			l.sent = append(l.sent, byte(e.Value))
		}
		l.diary.add(e)
	})
	l.setSpeed(speed)
	return l
}

func (l *live) setSpeed(speed float64) {
	l.speed, l.since, l.from = speed, time.Now(), l.b.Nanos()
}

// outletRoom is how many slices' octets wait for a host that is slow to read.
const outletRoom = 256

// join adds a line.
func (l *live) join(line io.ReadWriter) {
	t := &tap{make(chan []byte, outletRoom), make(chan struct{})}
	l.lines = append(l.lines, t)
	go pump(line, l.heard)
	go t.outlet(line)
}

// outlet writes what the board sends. It may wait for ever: a host that does not read holds up neither the board nor the commands.
func (t *tap) outlet(w io.Writer) {
	defer close(t.gone)
	for data := range t.out {
		if _, err := w.Write(data); err != nil {
			return
		}
	}
}

// tell gives every line what the board has sent, and forgets lines at whose end nobody is.
func (l *live) tell(data []byte) {
	l.lines = slices.DeleteFunc(l.lines, func(t *tap) bool {
		select {
		case <-t.gone:
			return true
		default:
		}
		select {
		case t.out <- data:
		default: // nobody reads: it is lost, as on a wire
		}
		return false
	})
}

// accept lets connections join, for as long as they are listened for.
func (l *live) accept(from net.Listener) {
	for {
		c, err := from.Accept()
		if err != nil {
			return
		}
		l.joining <- c
	}
}

// run runs until the end, a signal, or the command quit. All work on the board is done here.
func (l *live) run(commands io.Reader, stop <-chan struct{}) error {
	words := make(chan string)
	defer func() {
		for _, t := range l.lines {
			close(t.out)
		}
	}()
	go lines(commands, words)
	clock := time.NewTicker(slice)
	defer clock.Stop()
	for !l.stopped {
		select {
		case <-stop:
			return nil
		case line := <-l.joining:
			l.join(line)
		case data := <-l.heard:
			l.b.Send(data)
		case text, open := <-words:
			if !open {
				words = nil
				continue
			}
			l.obey(text)
		case <-clock.C:
			if err := l.step(); err != nil {
				return err
			}
		}
	}
	return nil
}

// mostBusy is how long a step may keep commands and signals waiting.
const mostBusy = 50 * time.Millisecond

// step runs the board to where it should be now, or as far as it comes in a moment: a speed that is too high for this computer is what it can do.
func (l *live) step() error {
	to := l.from + uint64(float64(time.Since(l.since))*l.speed)
	if l.end > 0 && to >= l.end {
		to, l.stopped = l.end, true
	}
	began := time.Now()
	for chunk := uint64(time.Second); l.b.Nanos() < to; chunk *= 2 {
		if reason := l.b.RunTo(min(to, l.b.Nanos()+chunk)); reason == avr.StopBreak || reason == avr.StopIllegal {
			return fmt.Errorf("the firmware stopped at word %#x: %v", l.b.MCU().PC(), reason)
		}
		if busy := time.Since(began); busy > mostBusy {
			if l.b.Nanos() < to {
				l.stopped = false
				l.setSpeed(l.speed)
			}
			break
		} else if busy > mostBusy/8 {
			chunk /= 2
		}
	}
	if len(l.sent) > 0 {
		l.tell(l.sent)
		l.sent = nil
	}
	return nil
}

// pump reads what programs send.
func pump(r io.Reader, to chan<- []byte) {
	for {
		data := make([]byte, 256)
		n, err := r.Read(data)
		if err != nil {
			return
		}
		to <- data[:n]
	}
}

func lines(r io.Reader, to chan<- string) {
	defer close(to)
	for s := bufio.NewScanner(r); s.Scan(); {
		to <- s.Text()
	}
}
