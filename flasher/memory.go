package flasher

import (
	"encoding/binary"
	"errors"
	"fmt"
	"time"

	"mealtab/compiler/table"
	"mealtab/flasher/frame"
	"mealtab/flasher/link"
)

// Blocks of bytes shrink on a noisy line: a short frame comes through where a long one does not.
const (
	smallestBlock   = 8
	blockPatience   = 1200 * time.Millisecond // for one size, before the next smaller one is tried
	lastPatience    = 8 * time.Second         // for the smallest
	shrinkingFactor = 2
)

// blocks moves total bytes in blocks of at most f's size, each by do(at, n), with smaller blocks after silence.
func (f *Feeder) blocks(total int, do func(at, n int, patience time.Duration) error) error {
	size := min(f.ID.MaxData, frame.MaxData)
	for at := 0; at < total; {
		n := min(size, total-at)
		patience := blockPatience + 2*f.link.Trip()
		if n <= smallestBlock {
			patience = lastPatience
		}
		err := do(at, n, patience)
		switch {
		case err == nil:
			at += n
		case errors.Is(err, link.ErrSilent) && n > smallestBlock:
			size = max(n/shrinkingFactor, smallestBlock)
		default:
			return err
		}
	}
	return nil
}

// EEPROM reads bytes of the AVR's EEPROM.
func (f *Feeder) EEPROM(offset, count int) ([]byte, error) {
	out := make([]byte, 0, count)
	err := f.blocks(count, func(at, n int, patience time.Duration) error {
		request := append(binary.LittleEndian.AppendUint16(nil, uint16(offset+at)), byte(n))
		b, err := f.link.Request(link.Call{Code: frame.EEPROMRead, Payload: request, Patience: patience})
		if err == nil && len(b) != n {
			err = fmt.Errorf("it has %d bytes, not %d", len(b), n)
		}
		if err != nil {
			return f.failed("EEPROM_READ", err)
		}
		out = append(out, b...)
		return nil
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// ErrNoTable means that no table is in force.
var ErrNoTable = errors.New("the board holds no valid table: nothing is served until mealtab upload puts one on it")

// Table reads the table in force, as the board holds it. The error is [ErrNoTable] if there is none.
func (f *Feeder) Table(s Status) ([]byte, error) {
	if s.Bank == NoBank {
		return nil, ErrNoTable
	}
	return f.bank(s.Bank)
}

// bank reads the table of a bank and checks it.
func (f *Feeder) bank(bank int) ([]byte, error) {
	const head = 16 // more than the bytes that say how long the table is
	at := f.Map.TableOffset(bank)
	b, err := f.EEPROM(at, head)
	if err != nil {
		return nil, err
	}
	n, err := table.Length(b)
	if err != nil {
		return nil, fmt.Errorf("bank %d: %w", bank, err)
	}
	if n > f.Map.TableRoom() {
		return nil, fmt.Errorf("bank %d: the table says that it has %d bytes, a bank holds %d", bank, n, f.Map.TableRoom())
	}
	if n <= len(b) {
		return b[:n], nil
	}
	rest, err := f.EEPROM(at+len(b), n-len(b))
	return append(b, rest...), err
}
