package check

import (
	"encoding/binary"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/table"
	"mealtab/flasher/frame"
)

// latch makes the newest record of the journal hold these faults and no others, and resets the board, so that it shows them.
func (f *feeder) latch(faults uint16) {
	f.t.Helper()
	offset := map[string]int{}
	for _, field := range table.JournalRecord() {
		offset[field.Name] = field.Value
	}
	eeprom := f.MCU().EEPROM()
	m, ok := table.MapFor(len(eeprom))
	require.True(f.t, ok)
	newest, ok := table.NewestJournal(eeprom, m)
	require.True(f.t, ok)
	for i := range m.JournalSlots {
		at := m.Journal() + i*table.JournalSlotSize
		record := eeprom[at : at+table.JournalSlotSize]
		if j, ok := table.DecodeJournal(record); !ok || j.Sequence != newest.Sequence {
			continue
		}
		binary.LittleEndian.PutUint16(record[offset["FAULTS"]:], faults)
		binary.LittleEndian.PutUint16(record[offset["CRC"]:], table.CRC(record[:offset["CRC"]]))
	}
	f.Reset()
	f.Run(time.Minute)
	require.Equal(f.t, int(faults), f.latched())
}

// answers within so many tries of a third of a second each, the shortest that a host may make.
func (f *feeder) answersWithin(tries int) bool {
	f.sequence++
	for range tries {
		f.answers.last = nil
		knock(f.Board, 50*time.Millisecond)
		f.Send(frame.Append(nil, []byte{frame.Status, f.sequence}))
		f.Run(300 * time.Millisecond)
		if a := f.answers.last; len(a) > 2 && a[0] == frame.Status|frame.Answer && a[1] == f.sequence {
			return true
		}
	}
	return false
}

// Whatever the light shows, and wherever in its flashes and in its ticks a request comes, the second try is answered: on a line that was
// shut, and on one that is open, or is about to be shut.
func TestAnswersWhateverIsShown(t *testing.T) {
	for _, name := range []string{"m328-mains", "m328-cells", "m168-mains"} {
		for bit := range table.FaultBits() {
			t.Run(fmt.Sprintf("%s fault %d", name, bit), func(t *testing.T) {
				t.Parallel()
				f := newFeeder(t, name, 1, nil)
				f.latch(1 << bit)
				for phase := range 14 {
					shut := f.again()
					shut.Run(time.Duration(phase) * 790 * time.Millisecond) // a round takes up to 11 s
					require.True(t, shut.answersWithin(2), "shut line, phase %d", phase)
					for ask := range 9 {
						shut.Run(time.Duration(phase*61+ask*2111) * time.Millisecond)
						require.True(t, shut.answersWithin(2), "phase %d, open line, request %d", phase, ask)
					}
				}
			})
		}
	}
}

// again is a fork of the feeder.
func (f *feeder) again() *feeder {
	c := &feeder{t: f.t, Board: f.Fork(), sequence: f.sequence}
	c.Observe(c.answers.see)
	return c
}
