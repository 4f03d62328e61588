package avr

import (
	"crypto/sha256"
	"encoding/binary"
)

// Snapshot is the whole state of a chip at an instruction boundary: memories,
// registers, peripherals, time, statistics. It holds nothing of the board.
type Snapshot struct {
	state state
	prog  *program
}

// Snapshot copies the state. It must not be called from a hook.
func (m *MCU) Snapshot() *Snapshot { return &Snapshot{state: m.state, prog: m.prog} }

// Restore brings back a snapshot taken from this chip or one of the same part and
// fuses. The board restores itself.
func (m *MCU) Restore(s *Snapshot) {
	m.state, m.prog = s.state, s.prog
	m.poll = pollState{}
	m.nap.reset()
}

// Fork returns an independent chip in the same state, attached to other hooks.
// Flash is shared until one of them changes it.
func (m *MCU) Fork(h Hooks) *MCU {
	c := *m
	c.hooks = h
	c.poll = pollState{}
	c.nap = napState{}
	c.nap.reset()
	return &c
}

// Hash returns a digest of the whole state: two chips with equal hashes go on
// alike. What the host skipped (polls, naps, fused pairs) leaves no trace in it.
func (m *MCU) Hash() [32]byte {
	c := m.core
	for n := range c.timers { // two lazy clocks at the same instant may differ in form
		f := *m
		f.hooks = Hooks{}
		f.syncTimer(n)
		c.timers[n] = f.timers[n]
	}
	b := append([]byte(nil), m.mem[:]...)
	b = append(b, m.eeprom[:]...)
	for _, n := range m.cellWrites {
		b = binary.LittleEndian.AppendUint32(b, n)
	}
	b, err := binary.Append(b, binary.LittleEndian, &c)
	if err != nil {
		panic(err) // core holds fixed-size values only; a test encodes it
	}
	b = binary.LittleEndian.AppendUint64(b, m.prog.hash)
	return sha256.Sum256(b)
}

// hashWords is FNV-1a over the flash.
func hashWords(words []uint16) uint64 {
	h := uint64(0xcbf29ce484222325)
	for _, w := range words {
		h = (h ^ uint64(w)) * 0x100000001b3
	}
	return h
}
