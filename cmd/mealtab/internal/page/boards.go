package page

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"mealtab/cmd/mealtab/internal/page/trial"
	"mealtab/compiler/profile"
	"mealtab/flasher"
)

// emulatedID names the emulated feeder among the boards.
const emulatedID = "emulated"

// boards are the feeders that can be talked to. A conversation goes on until another begins or the line breaks: opening a port
// resets most boards, so it is not done more often than needed.
type boards struct {
	mu     sync.Mutex // one conversation at a time
	port   string
	feeder *flasher.Feeder
	idle   *time.Timer // hangs up when nobody has asked for a while, so that other programs can use the port

	trialMu sync.Mutex
	trial   *trial.Feeder
	held    []byte // its table when it was last asked
	stop    context.CancelFunc

	way way
}

// FoundBoard is a port on which a feeder may be: its name for Options.Open, the one shown, what the system says is on it.
type FoundBoard struct {
	ID   string `json:"id"`
	Name string `json:"name"`
	Note string `json:"note"`
}

// found lists the boards that there may be, and the page's own emulated feeder, which is always there.
func (s *Server) found() []FoundBoard {
	list, err := s.o.Boards()
	note := "runs the real firmware inside this program"
	if err != nil {
		note += "; the ports of this computer cannot be listed: " + err.Error()
	}
	return append(list, FoundBoard{emulatedID, "Emulated feeder", note})
}

// patience is how long a port stays open without a question.
const patience = 30 * time.Second

// talk holds a conversation with a board. A conversation that is broken is begun anew the next time.
func (s *Server) talk(id string, do func(*flasher.Feeder) error) error {
	b := &s.boards
	b.mu.Lock()
	defer b.mu.Unlock()
	if id == emulatedID {
		t, err := s.emulated()
		if err != nil {
			return err
		}
		return t.Talk(do)
	}
	if b.port != id || b.feeder == nil {
		b.hangUp()
		if !s.isPort(id) {
			return fmt.Errorf("there is no port %q", id)
		}
		f, err := s.o.Open(id)
		if err != nil {
			return err
		}
		b.port, b.feeder = id, f
		b.idle = time.AfterFunc(patience, func() {
			b.mu.Lock()
			defer b.mu.Unlock()
			b.hangUp()
		})
	}
	b.idle.Stop()
	err := do(b.feeder)
	b.idle.Reset(patience)
	var broken *flasher.RequestError
	if errors.As(err, &broken) {
		b.hangUp()
	}
	return err
}

// emulated is the emulated feeder and its table when it was last asked; nil: there is none.
func (b *boards) emulated() (t *trial.Feeder, held []byte) {
	b.trialMu.Lock()
	defer b.trialMu.Unlock()
	return b.trial, b.held
}

// hold remembers what the emulated feeder holds.
func (b *boards) hold(tab []byte) {
	b.trialMu.Lock()
	defer b.trialMu.Unlock()
	b.held = tab
}

func (b *boards) hangUp() {
	if b.feeder != nil {
		_ = b.feeder.Close()
		b.idle.Stop()
	}
	b.port, b.feeder = "", nil
}

// isPort reports whether a name is that of a USB port of this computer, or of an emulated board on it: no other file or host is opened.
func (s *Server) isPort(id string) bool {
	for _, f := range s.found() {
		if f.ID == id && id != emulatedID {
			return true
		}
	}
	return false
}

// emulated is the emulated feeder; the first time it is a bare one, without a table, of the plan's board.
func (s *Server) emulated() (*trial.Feeder, error) {
	if t, _ := s.boards.emulated(); t != nil {
		return t, nil
	}
	return s.startTrial(s.o.Now(), false)
}

// startTrial puts a new feeder in the place of the old one, with the present plan or bare.
func (s *Server) startTrial(at time.Time, withPlan bool) (*trial.Feeder, error) {
	c := s.compiled()
	o := trial.Options{Board: profile.Default, Start: at}
	if c != nil {
		o.Board, o.Clock, o.HopperMg = cmp.Or(c.Board.File, c.Board.Name), c.Zone, float64(c.Plan.Hopper)
		if w := c.Plan.Wheel; w != nil {
			o.PocketMg = float64(w.PocketMilligrams)
		}
	}
	switch {
	case c == nil && withPlan:
		return nil, errors.New("the plan has errors: put them right first")
	case c == nil:
		o.Clock = s.o.UTC
	case withPlan:
		o.Table = c.Output.Bytes
	}
	var err error
	if o.Firmware, err = s.o.Firmware(o.Board); err != nil {
		return nil, err
	}
	t, err := trial.New(o)
	if err != nil {
		return nil, err
	}
	b := &s.boards
	b.trialMu.Lock()
	defer b.trialMu.Unlock()
	if b.stop != nil {
		b.stop()
	}
	ctx, stop := context.WithCancel(context.Background())
	b.trial, b.stop, b.held = t, stop, o.Table
	go t.Run(ctx)
	return t, nil
}

// compiled is the newest plan that is right, if the text is.
func (s *Server) compiled() *Compiled {
	s.mu.Lock()
	defer s.mu.Unlock()
	if !s.s.c.ok() {
		return nil
	}
	return s.s.c
}
