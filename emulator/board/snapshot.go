package board

import (
	"crypto/sha256"
	"fmt"
	"slices"
	"time"

	"mealtab/emulator/avr"
)

// Snapshot is a board's whole state.
type Snapshot struct {
	mcu   *avr.Snapshot
	state state
}

// Snapshot copies the state. Not from an observer.
func (b *Board) Snapshot() *Snapshot { return &Snapshot{b.mcu.Snapshot(), b.state} }

// Restore brings back a snapshot taken from this board or a fork of it.
func (b *Board) Restore(s *Snapshot) {
	b.mcu.Restore(s.mcu)
	b.state = s.state
	b.line.queue = slices.Clone(s.state.line.queue)
}

// Fork returns an independent board in the same state, with nobody who observes or listens.
func (b *Board) Fork() *Board {
	c := &Board{cfg: b.cfg, state: b.state}
	c.line.queue = slices.Clone(b.line.queue)
	c.mcu = b.mcu.Fork(c.hooks())
	return c
}

// Hash returns a digest of the whole state: boards with equal hashes go on alike. Parts that are brought up to date only
// when someone looks are brought up to date first.
func (b *Board) Hash() [32]byte {
	c := b.Fork()
	now := c.Nanos()
	c.clock.Sync(now)
	c.wheel.sync(now)
	h := sha256.New()
	sum := c.mcu.Hash()
	h.Write(sum[:])
	fmt.Fprintf(h, "%+v", c.state)
	return [32]byte(h.Sum(nil))
}

// Fresh returns an unused copy of a board that has not run yet, with its supply coming on at another instant.
func (b *Board) Fresh(start time.Time) *Board {
	c := b.Fork()
	c.cfg.Start = start.UTC()
	return c
}
