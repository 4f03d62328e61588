package flashertest

import (
	"errors"
	"math/rand/v2"
	"time"

	"mealtab/flasher/link"
)

// Noisy spoils what goes over a transport, in both directions.
type Noisy struct {
	link.Transport
	Random *rand.Rand
	// Chances, each of 1: of a flipped bit, for every bit; of a dropped, a doubled octet; of a pause before an octet.
	Flip, Drop, Double, Pause float64
	// Restart is the chance for every write that the board restarts; then Chatter octets of a bootloader come first.
	Restart float64
	OnReset func()

	held    []byte // of a write that pauses
	heldFor time.Time
	input   []byte // chatter, and what comes after a pause
}

func (n *Noisy) spoil(octets []byte) []byte {
	var out []byte
	for _, b := range octets {
		for bit := range 8 {
			if n.Random.Float64() < n.Flip {
				b ^= 1 << bit
			}
		}
		switch p := n.Random.Float64(); {
		case p < n.Drop:
		case p < n.Drop+n.Double:
			out = append(out, b, b)
		default:
			out = append(out, b)
		}
	}
	return out
}

func (n *Noisy) Write(p []byte) (int, error) {
	if n.Random.Float64() < n.Restart {
		n.OnReset()
		n.held = nil
		for range n.Random.IntN(40) {
			n.input = append(n.input, byte(n.Random.Uint32()))
		}
	}
	octets := append(n.held, n.spoil(p)...)
	n.held = nil
	for i := range octets {
		if n.Random.Float64() < n.Pause {
			n.held = append(n.held, octets[i:]...)
			n.heldFor = n.Now().Add(time.Duration(n.Random.IntN(400)) * time.Millisecond)
			octets = octets[:i]
			break
		}
	}
	_, err := n.Transport.Write(octets)
	return len(p), err
}

// release sends on what was held back, if its time has come before an instant.
func (n *Noisy) release(until time.Time) error {
	if len(n.held) == 0 || n.heldFor.After(until) {
		return nil
	}
	n.Transport.Sleep(n.heldFor.Sub(n.Now()))
	octets := n.held
	n.held = nil
	_, err := n.Transport.Write(octets)
	return err
}

func (n *Noisy) Read(p []byte, wait time.Duration) (int, error) {
	if len(n.input) > 0 {
		got := copy(p, n.input)
		n.input = n.input[got:]
		return got, nil
	}
	if err := n.release(n.Now().Add(wait)); err != nil {
		return 0, err
	}
	got, err := n.Transport.Read(p, wait)
	if err != nil || got == 0 {
		return got, err
	}
	spoiled := n.spoil(p[:got])
	kept := copy(p, spoiled)
	n.input = append(n.input, spoiled[kept:]...)
	return kept, nil
}

// Mortal is a host that is killed: after so many octets sent, or received, nothing more comes from it. The line stays, with what is on it.
type Mortal struct {
	link.Transport
	Left int // octets to live
}

// ErrKilled is how a host learns that it is dead.
var ErrKilled = errors.New("killed")

func (m *Mortal) Write(p []byte) (int, error) {
	n := min(len(p), max(m.Left, 0))
	m.Left -= n
	if n > 0 {
		if got, err := m.Transport.Write(p[:n]); err != nil {
			return got, err
		}
	}
	if n < len(p) {
		return n, ErrKilled
	}
	return n, nil
}

func (m *Mortal) Read(p []byte, wait time.Duration) (int, error) {
	if m.Left <= 0 {
		return 0, ErrKilled
	}
	n, err := m.Transport.Read(p, wait)
	m.Left -= n
	return n, err
}
