package flasher

import (
	"encoding/binary"
	"errors"
	"fmt"
	"slices"

	"mealtab/compiler/table"
	"mealtab/flasher/frame"
	"mealtab/flasher/link"
)

// ErrRefused means that the board does not serve now.
var ErrRefused = errors.New("the board refuses: its table switches servings by hand off, what may be given by hand in an hour or a day has been given, the supply is too low, or a serving is not finished")

// mostUnits is what the three bytes of SERVE can say.
const mostUnits = 1<<24 - 1

// ErrTooMuch means that a portion is more than a request can say.
var ErrTooMuch = errors.New("that is more than a feeder serves at once")

// Serve feeds now and returns the pockets that will be turned: units of the table's mass unit, 0 for the button's portion. However often
// the request has to be sent, the board serves once; s is its status before.
func (f *Feeder) Serve(s Status, units uint32) (pockets int, err error) {
	if s.Bank == NoBank {
		return 0, ErrNoTable
	}
	if units > mostUnits {
		return 0, ErrTooMuch
	}
	request := []byte{s.Token + 1, byte(units), byte(units >> 8), byte(units >> 16)}
	b, err := f.ask(link.Call{Code: frame.Serve, Payload: request, Work: settleWork + recordWork, Patience: turning}, "SERVE")
	switch {
	case errors.Is(err, frame.StatusError(frame.Refused)):
		return 0, fmt.Errorf("%s: %w", f.Port(), ErrRefused)
	case err != nil:
		return 0, err
	}
	if pockets = int(binary.LittleEndian.Uint16(b)); pockets > 0 {
		return pockets, nil
	}
	return f.servedBefore(s.Token + 1)
}

// servedBefore looks the pockets up where the answer that told them was lost.
func (f *Feeder) servedBefore(token uint8) (int, error) {
	j, err := f.Journal()
	if err != nil {
		return 0, err
	}
	if j.Kind == table.JournalManual && j.Token == token {
		return j.Pockets, nil
	}
	return 0, nil
}

// Journal reads the newest record of the journal: what a restart would go by.
func (f *Feeder) Journal() (table.Journal, error) {
	size := f.Map.JournalSlots * table.JournalSlotSize
	b, err := f.EEPROM(f.Map.Journal(), size)
	if err != nil {
		return table.Journal{}, err
	}
	whole := make([]byte, f.Map.Journal()+size)
	copy(whole[f.Map.Journal():], b)
	j, ok := table.NewestJournal(whole, f.Map)
	if !ok {
		return j, fmt.Errorf("%s: the journal holds no whole record", f.Port())
	}
	return j, nil
}

// Records reads all whole records of the journal, oldest first: the last few servings, also of a board that keeps no history.
func (f *Feeder) Records() ([]table.Journal, error) {
	b, err := f.EEPROM(f.Map.Journal(), f.Map.JournalSlots*table.JournalSlotSize)
	if err != nil {
		return nil, err
	}
	var list []table.Journal
	for ; len(b) >= table.JournalSlotSize; b = b[table.JournalSlotSize:] {
		if j, ok := table.DecodeJournal(b); ok {
			list = append(list, j)
		}
	}
	slices.SortFunc(list, func(a, b table.Journal) int {
		switch {
		case a.After(b):
			return 1
		case b.After(a):
			return -1
		}
		return 0
	})
	return list, nil
}

// Keep leaves a setting as it is.
const Keep = 0xFF

// Settings sets the preset (index) and the portion adjustment (tenths, 8 to 12), and returns what is set then.
func (f *Feeder) Settings(preset, adjust int) (int, int, error) {
	b, err := f.ask(link.Call{Code: frame.Settings, Payload: []byte{byte(preset), byte(adjust)}, Work: settleWork + 2*recordWork, Patience: turning}, "SETTINGS")
	if err != nil {
		return 0, 0, err
	}
	return int(b[0]), int(b[1]), nil
}

// ClearFaults acknowledges fault bits and returns those that remain: what has a cause stays.
func (f *Feeder) ClearFaults(bits int) (int, error) {
	b, err := f.ask(link.Call{Code: frame.FaultsClear, Payload: binary.LittleEndian.AppendUint16(nil, uint16(bits)), Work: settleWork + recordWork}, "FAULTS_CLEAR")
	if err != nil {
		return 0, err
	}
	return int(binary.LittleEndian.Uint16(b)), nil
}

// Hopper tells the board what its hopper was filled with, in pockets (or [frame.HopperRead], [frame.HopperFull],
// [frame.HopperForget]), and returns what it holds when filled (0: nobody has said) and what is left in it by the board's count.
func (f *Feeder) Hopper(holds int) (full, left int, err error) {
	b, err := f.ask(link.Call{Code: frame.Hopper, Payload: binary.LittleEndian.AppendUint16(nil, uint16(holds)), Work: settleWork + recordWork}, "HOPPER")
	if err != nil {
		return 0, 0, err
	}
	return int(binary.LittleEndian.Uint16(b)), int(binary.LittleEndian.Uint16(b[2:])), nil
}

// History reads what the board remembers having done, newest first, back to an instant; older records are left out.
func (f *Feeder) History(since table.Minute) ([]table.History, error) {
	const noSlot = 0xFFFF
	if f.ID.HistorySlots == 0 {
		return nil, nil
	}
	slot, _, err := f.history(noSlot)
	if err != nil {
		return nil, err
	}
	if slot >= f.ID.HistorySlots && slot != noSlot {
		return nil, f.failed("HISTORY_READ", fmt.Errorf("it says that slot %d is the newest of %d; another device may be on the port", slot, f.ID.HistorySlots))
	}
	var list []table.History
	for {
		_, some, err := f.history(slot)
		if err != nil {
			return nil, err
		}
		for _, h := range some {
			follows := len(list) == 0 || h.Sequence+1 == list[len(list)-1].Sequence
			if !follows || h.At < since || len(list) == f.ID.HistorySlots {
				return list, nil
			}
			list = append(list, h)
		}
		switch slot -= len(some); {
		case slot < 0: // the ring goes on at its upper end
			slot = f.ID.HistorySlots - 1
		case len(some) < frame.HistoryMax:
			return list, nil
		}
	}
}

// history reads the records of one answer, from a slot of the ring downwards, and which slot is the newest.
func (f *Feeder) history(slot int) (newest int, list []table.History, err error) {
	request := binary.LittleEndian.AppendUint16(nil, uint16(slot))
	b, err := f.ask(link.Call{Code: frame.HistoryRead, Payload: request, Work: frame.HistoryMax * f.busRead()}, "HISTORY_READ")
	if err != nil {
		return 0, nil, err
	}
	r := reader{b: b}
	newest = r.word()
	if len(r.b)%table.HistorySize != 0 {
		return 0, nil, f.failed("HISTORY_READ", fmt.Errorf("its records have %d bytes, which is not a whole number of records of %d", len(r.b), table.HistorySize))
	}
	for b = r.b; len(b) >= table.HistorySize; b = b[table.HistorySize:] {
		h, ok := table.DecodeHistory(b)
		if !ok || len(list) > slot { // below the ring lies something else
			break
		}
		list = append(list, h)
	}
	return newest, list, nil
}
