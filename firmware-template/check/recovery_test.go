package check

import (
	"testing"

	"mealtab/compiler/table"
)

// The truth table of STORAGE.md, "Journal": what is turned after a restart, by the step bytes of the newest record.
func TestRecovery(t *testing.T) {
	const pockets, none, torn = 5, 0xFF, 0x3F // 3F: six bits, no mark
	step := func(n int) byte { return table.Mark(n / 2) }
	for _, c := range []struct {
		name      string
		odd, even byte
		resumed   byte
		left      int
	}{
		{"before the wheel turned", none, none, 0, 5},
		{"as the first pocket began", torn, none, 0, 5},
		{"during pocket 1", step(1), none, 0, 4},
		{"as pocket 1 ended", step(1), torn, 0, 4},
		{"during pocket 2", step(1), step(2), 0, 3},
		{"during pocket 3", step(3), step(2), 0, 2},
		{"during pocket 3, resumed", step(3), step(2), 1, 3},
		{"as pocket 3 ended, resumed", step(3), torn, 1, 2},
		{"during pocket 3, resumed twice", step(3), step(2), 2, 2},
		{"during the last pocket", step(5), step(4), 0, 0},
		{"during the last pocket, resumed", step(5), step(4), 1, 1},
		{"as the serving ended", step(5), torn, 0, 0},
		{"after the end", step(5), step(6), 1, 0},
	} {
		if got := turnedAfter(t, pockets, c.odd, c.even, c.resumed); got != c.left {
			t.Errorf("%s: %d pockets turned after the restart, want %d", c.name, got, c.left)
		}
	}
}

// Offsets of fields in a journal record, by their names in STORAGE.md.
var journalCRC, journalSteps = journalField("CRC"), journalField("STEPS")

func journalField(name string) int {
	for _, f := range table.JournalRecord() {
		if f.Name == name {
			return f.Value
		}
	}
	panic("the journal has no field " + name)
}

// turnedAfter restarts a feeder whose journal holds one serving with such step bytes, and counts pockets.
func turnedAfter(t *testing.T, pockets int, odd, even, resumed byte) int {
	l := newLine(t)
	l.install(golden(t, "01-two-cats.txt"))
	m, _ := table.MapFor(1024)
	eeprom := l.eeprom()
	newest, _ := table.NewestJournal(eeprom, m)
	at := m.Journal()
	for slot := range m.JournalSlots { // the newest record becomes the serving, the others are void
		here := m.Journal() + slot*table.JournalSlotSize
		if j, ok := table.DecodeJournal(eeprom[here : here+table.JournalSlotSize]); ok && j.Sequence == newest.Sequence {
			at = here
			continue
		}
		eeprom[here] = 0xFF
	}
	record := eeprom[at : at+table.JournalSlotSize]
	record[1] = table.JournalServing | resumed<<4
	record[2], record[3] = byte(pockets), 0
	crc := table.CRC(record[:journalCRC])
	record[journalCRC], record[journalCRC+1] = byte(crc), byte(crc>>8)
	record[journalSteps], record[journalSteps+1] = even, odd
	l.send("W %x", eeprom)
	l.line()
	before := l.pockets()
	l.restart()
	for range 3 { // a request must not turn what a record was once for
		l.ask("STATUS", nil)
	}
	return l.pockets() - before
}

// The truth table of STORAGE.md, "Banks": which table is in force after a restart, by the spare bank.
func TestBankChoice(t *testing.T) {
	old := golden(t, "01-two-cats.txt")
	next := golden(t, "03-weekend.txt")
	m, _ := table.MapFor(1024)
	for _, c := range []struct {
		name     string
		commit   byte
		sequence uint8 // of the table in the spare bank
		damage   bool
		newer    bool
	}{
		{"committed and newer", table.Committed, old[3] + 1, false, true},
		{"committed and newer by 127", table.Committed, old[3] + 127, false, true},
		{"committed and older", table.Committed, old[3] - 1, false, false},
		{"committed and damaged", table.Committed, old[3] + 1, true, false},
		{"torn", 0x7A, old[3] + 1, false, false},
		{"void", table.Erased, old[3] + 1, false, false},
	} {
		l := newLine(t)
		l.install(old)
		eeprom := l.eeprom()
		spare := 1 - int(l.status("BANK")[0])
		eeprom[m.Bank(spare)] = c.commit
		table := table.WithSequence(next, c.sequence)
		copy(eeprom[m.TableOffset(spare):], table)
		if c.damage {
			eeprom[m.TableOffset(spare)+12] ^= 4
		}
		l.send("W %x", eeprom)
		l.line()
		l.restart()
		if got := int(l.status("BANK")[0]) == spare; got != c.newer {
			t.Errorf("%s: the spare bank in force: %v, want %v", c.name, got, c.newer)
		}
	}
}
