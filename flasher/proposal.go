package flasher

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"time"

	"mealtab/compiler/table"
)

// Proposal is what it would mean to put a table on a feeder. Nothing has been written. A table's way onto a feeder is the same for everyone who
// sends one:
//
//	p, err := f.Propose(tab)        // look, show, ask
//	staged, err := p.Stage(nil)     // in the spare bank, read back, void
//	err = staged.Commit(rehearsed)  // in force, once the rehearsal has ended well
//	r, set, err := p.SetClock(yes)  // if it is a small step, or wanted
type Proposal struct {
	Table  []byte
	Status Status // before
	Held   []byte // the table in force; nil: there is none
	Same   bool   // that is this table
	Clock  ClockState
	Named  string // the feeder's name before; "": it has none
	Name   string // the name it will have: as before, unless the caller changes it
	f      *Feeder
}

// Propose looks at a feeder for which a table is meant. The error is that of [Feeder.Check], or that of a request.
func (f *Feeder) Propose(tab []byte) (*Proposal, error) {
	if err := f.Check(tab); err != nil {
		return nil, err
	}
	st, err := f.Status()
	if err != nil {
		return nil, err
	}
	held, err := f.Table(st)
	if err != nil && !errors.Is(err, ErrNoTable) {
		return nil, err
	}
	p := &Proposal{Table: tab, Status: st, Held: held, Same: held != nil && Holds(held, tab), f: f}
	if p.Named, err = f.Name(st); err != nil {
		return nil, err
	}
	p.Name = p.Named
	if p.Clock, err = f.clockState(); err != nil {
		return nil, err
	}
	return p, nil
}

// Key names what is proposed: this table in the place of that one, on this board. Whoever shows a proposal and gets the answer later
// compares the keys: an answer to one question is none to another.
func (p *Proposal) Key() string {
	h := sha256.New()
	for _, part := range [][]byte{{p.f.ID.Board, byte(p.Status.Bank), p.Status.Sequence}, table.WithSequence(p.Table, 0), p.Held} {
		fmt.Fprintf(h, "%d:", len(part))
		h.Write(part)
	}
	return hex.EncodeToString(h.Sum(nil)[:12])
}

// Stage writes the table, and the feeder's name where there is room, to the spare bank; see [Feeder.Stage].
func (p *Proposal) Stage(progress func(step Step, done, total int)) (*Staged, error) {
	name := p.Name
	if !p.NameFits() {
		name = ""
	}
	return p.f.stage(p.Table, p.Status, name, progress)
}

// ClockState is how a feeder's clock compares with this computer's.
type ClockState struct {
	Reading
	Silent bool // no clock module answers; there is no reading
	// Distrusted says why this computer's clock is none to go by; nil: it may be.
	Distrusted *ComputerClockError
}

func (f *Feeder) clockState() (ClockState, error) {
	r, err := f.ReadClock()
	if errors.Is(err, ErrNoClock) {
		return ClockState{Silent: true}, nil
	}
	return ClockState{Reading: r, Distrusted: f.distrusted()}, err
}

// ClockNeed is what a clock wants.
type ClockNeed int

// What a clock wants: nothing, for it is as good as a setting makes it; a small step, which needs no question; a large step, which its owner
// must want, for either clock may be the wrong one; setting, for it stood still and what it shows means nothing; a module that answers; a computer whose own clock is right.
const (
	ClockGood ClockNeed = iota
	ClockSmall
	ClockLarge
	ClockStopped
	ClockSilent
	ClockDistrusted
)

// MostUnasked is the largest step for which nobody is asked.
const MostUnasked = 2 * time.Minute

// Need says what a clock wants.
func (c ClockState) Need() ClockNeed {
	switch off := c.Offset.Abs(); {
	case c.Silent:
		return ClockSilent
	case c.Distrusted != nil:
		return ClockDistrusted
	case c.Stopped:
		return ClockStopped
	case off > MostUnasked:
		return ClockLarge
	case off > max(edgeDoubt, c.Trip/2): // half a round trip is what a comparison may be wrong by
		return ClockSmall
	}
	return ClockGood
}

// SetClock sets the feeder's clock where that needs no question, and a large step if it is wanted. set says whether it did.
func (p *Proposal) SetClock(wanted bool) (r Reading, set bool, err error) {
	switch need := p.Clock.Need(); {
	case need == ClockSmall || need == ClockStopped, need == ClockLarge && wanted:
		r, err = p.f.SetClock()
		return r, err == nil, err
	}
	return p.Clock.Reading, false, nil
}

// distrusted says why this computer's clock is none to go by.
func (f *Feeder) distrusted() *ComputerClockError {
	if now := f.Now(); now.Before(f.NotBefore) {
		return &ComputerClockError{now, f.NotBefore}
	}
	return nil
}

// ComputerClockError is a computer whose clock cannot be right: nothing is set to it.
type ComputerClockError struct{ Now, NotBefore time.Time }

func (e *ComputerClockError) Error() string {
	return fmt.Sprintf("this computer's clock shows %s, though its time zone data are of %d: set the computer's clock first", e.Now.Format(time.DateOnly), e.NotBefore.Year())
}
