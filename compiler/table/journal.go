package table

// Marks.
//
// A single byte that must be whole or void after a power cut holds a mark: a byte whose high half is the complement of its low
// one, which is its index. A cut in the erase phase leaves the old byte with extra ones, one in the program phase
// the new byte with extra ones (ones not yet cleared). A mark has four ones, so with more of them it is none: it reads as the old
// one, as the new one, or as no mark, never as a third.

// MarkCount is the number of marks.
const MarkCount = 16

// Mark returns the mark of an index, taken modulo [MarkCount].
func Mark(index int) byte {
	low := byte(index) % MarkCount
	return low | ^low<<4
}

// MarkIndex returns the index of a mark; ok is false for any other byte.
func MarkIndex(b byte) (index int, ok bool) {
	index = int(b % MarkCount)
	return index, b == Mark(index)
}

// Committed is the commit byte of a valid bank: a mark, so that a torn one is void. Erased is that of a bank in work.
const (
	Committed byte = 0x5A
	Erased    byte = 0xFF
)

// SequenceCount is the number of sequence numbers of journal records: twice as many as there may be slots.
const SequenceCount = MarkCount

// PocketsPerSlot is the most pockets that one journal record can count; a larger serving goes on in the next slot. Steps of each
// parity have their own byte, and the step after the last pocket needs a mark too.
const PocketsPerSlot = 2*MarkCount - 2

// Offsets in a journal record. One record is one serving, or a change of state; each holds the whole state, so
// that the newest valid one is all that a restart needs. The firmware keeps the newest in RAM as it lies in storage.
const (
	journalMark    = 0 // of the sequence number; FF while the rest is written
	journalKind    = 1
	journalPockets = 2 // u16
	journalCursor  = 4 // u32
	journalCarry   = 8 // i32
	journalPreset  = 12
	journalAdjust  = 13
	journalToken   = 14
	journalCRC     = 15 // u16, of the bytes before it
	journalSteps   = 17 // of the last even-numbered step, of the last odd-numbered one
)

// JournalRecord lists the fields of a journal record.
func JournalRecord() []Field {
	return []Field{
		{"MARK", journalMark, "1", "", "a mark, or FF", "mark of the sequence number modulo 16; written last, so that a record is whole or void"},
		{"KIND", journalKind, "1", "", "see Kinds", "bits 3-0: what the record is; bits 7-4: how often the serving was resumed, at most 15"},
		{"POCKETS", journalPockets, "2", "pockets", "0 to 65535", "to be turned for this record"},
		{"CURSOR", journalCursor, "4", "minutes", "", "every serving up to and including this minute of UTC is settled; 3FFFFFF: none is known"},
		{"CARRY", journalCarry, "4", "tenths of mass units", "", "remainder after those pockets, two's complement"},
		{"PRESET", journalPreset, "1", "index", "0 to 7", "preset in force"},
		{"ADJUST", journalAdjust, "1", "tenths", "8 to 12", "portion adjustment"},
		{"TOKEN", journalToken, "1", "", "0 to 255", "of the last serving asked for over the line, so that a repeated request is recognised after a reset"},
		{"CRC", journalCRC, "2", "", "", "CRC-16/IBM-SDLC of the bytes before it"},
		{"STEPS", journalSteps, "2", "", "a mark, or FF, each", "of the newest even-numbered step, then of the newest odd-numbered one: the mark of half its number, rounded down; step n starts pocket n, the step after the last pocket ends the serving"},
	}
}

// Kinds of journal record.
const (
	JournalState = iota
	JournalServing
	JournalManual
)

// JournalKinds lists the kinds of journal record.
func JournalKinds() []Field {
	return []Field{
		{"STATE", JournalState, "", "", "", "a change of state; nothing to turn"},
		{"SERVING", JournalServing, "", "", "", "a serving of the plan, at the minute of the cursor"},
		{"MANUAL", JournalManual, "", "", "", "a serving asked for by button or line"},
	}
}

// CursorNone is the cursor of a feeder that has never known the time.
const CursorNone = 1<<26 - 1

// Journal is a journal record in the clear.
type Journal struct {
	Sequence int    // 0 to 15
	Steps    int    // newest step: 0 before the first pocket, n during pocket n, Pockets+1 when done
	Cursor   Minute // CursorNone: unknown
	Preset   int
	Adjust   int // tenths, 8 to 12
	Pockets  int
	Carry    int // tenths of mass units
	Kind     int
	Resumed  int
	Token    uint8
}

// Done says whether all pockets of the record have been turned.
func (j *Journal) Done() bool { return j.Pockets == 0 || j.Steps > min(j.Pockets, PocketsPerSlot) }

// DecodeJournal reads one slot; ok is false if it holds no whole record.
func DecodeJournal(b []byte) (j Journal, ok bool) {
	if len(b) < JournalSlotSize {
		return Journal{}, false
	}
	seq, ok := MarkIndex(b[journalMark])
	if !ok || CRC(b[:journalCRC]) != le16(b[journalCRC:]) {
		return Journal{}, false
	}
	j = Journal{
		Sequence: seq,
		Cursor:   Minute(le32(b[journalCursor:]) & CursorNone),
		Preset:   int(b[journalPreset]),
		Adjust:   int(b[journalAdjust]),
		Pockets:  int(le16(b[journalPockets:])),
		Carry:    int(int32(le32(b[journalCarry:]))),
		Kind:     int(b[journalKind] & 0xF),
		Resumed:  int(b[journalKind] >> 4),
		Token:    b[journalToken],
	}
	for odd := range 2 {
		if half, ok := MarkIndex(b[journalSteps+odd]); ok {
			j.Steps = max(j.Steps, 2*half+odd)
		}
	}
	return j, true
}

// NewestJournal reads the ring and returns the newest whole record; ok is false if there is none.
func NewestJournal(eeprom []byte, m Map) (newest Journal, ok bool) {
	for i := range m.JournalSlots {
		at := m.Journal() + i*JournalSlotSize
		j, whole := DecodeJournal(eeprom[at : at+JournalSlotSize])
		if whole && (!ok || newer(j.Sequence, newest.Sequence)) {
			newest, ok = j, true
		}
	}
	return newest, ok
}

// newer compares sequence numbers by difference, so that they may wrap.
func newer(a, b int) bool { return uint(a-b)%SequenceCount-1 < SequenceCount/2-1 }

func le16(b []byte) uint16 { return uint16(b[0]) | uint16(b[1])<<8 }
func le32(b []byte) uint32 { return uint32(le16(b)) | uint32(le16(b[2:]))<<16 }

// Offsets in a history record.
const (
	historySequence = 0
	historyMinute   = 1 // u32
	historyValue    = 5 // u16
	historyCheck    = 7
)

// HistoryRecord lists the fields of a history record.
func HistoryRecord() []Field {
	return []Field{
		{"SEQUENCE", historySequence, "1", "", "0 to 255", "counts the records; the newest is the one whose successor in the ring does not go on"},
		{"MINUTE", historyMinute, "4", "minutes; bits", "", "bits 25-0: instant of UTC; bits 31-26: what happened, see Events"},
		{"VALUE", historyValue, "2", "see Events", "", "what the event says of it"},
		{"CHECK", historyCheck, "1", "", "", "low byte of CRC-16/IBM-SDLC of bytes 0 to 6"},
	}
}

// Events of the history.
const (
	EventServed = 1 + iota
	EventManual
	EventMissed
	EventResumed
	EventJam
	EventSupply
	EventStarted
	EventClockLost
	EventClockSet
	EventTable
	EventPreset
	EventAdjust
)

// Events lists what the history records.
func Events() []Field {
	return []Field{
		{"SERVED", EventServed, "", "pockets", "", "a serving of the plan was given"},
		{"MANUAL", EventManual, "", "pockets", "", "a serving was given by button or line"},
		{"MISSED", EventMissed, "", "servings", "", "so many servings were not given, the first of them at the minute"},
		{"RESUMED", EventResumed, "", "pockets", "", "a serving cut short by a reset is given its rest"},
		{"JAM", EventJam, "", "pockets", "", "the wheel did not turn; so many pockets were left out"},
		{"SUPPLY", EventSupply, "", "millivolts", "", "the supply was too low to turn the wheel"},
		{"STARTED", EventStarted, "", "MCUSR", "", "reset; which flags of the reset status register were set"},
		{"CLOCK_LOST", EventClockLost, "", "fault bits", "", "the clock chip could not be trusted; time goes on from the watchdog"},
		{"CLOCK_SET", EventClockSet, "", "", "", "the clock was set"},
		{"TABLE", EventTable, "", "sequence", "", "a new table was committed"},
		{"PRESET", EventPreset, "", "index", "", "another preset"},
		{"ADJUST", EventAdjust, "", "tenths", "", "another portion adjustment"},
	}
}

// History is a history record in the clear.
type History struct {
	Sequence uint8
	At       Minute
	Event    int
	Value    uint16
}

// DecodeHistory reads one record; ok is false if its check does not match.
func DecodeHistory(b []byte) (h History, ok bool) {
	if len(b) < HistorySize || byte(CRC(b[:historyCheck])) != b[historyCheck] {
		return History{}, false
	}
	w := le32(b[historyMinute:])
	return History{b[historySequence], Minute(w & CursorNone), int(w >> 26), le16(b[historyValue:])}, true
}

// Fault bits that the feeder shows and reports.
const (
	FaultBitClockLost = 1 << iota
	FaultBitClockSilent
	FaultBitNoTable
	FaultBitTableOver
	FaultBitJam
	FaultBitSupply
	FaultBitMissed
)

// FaultBits lists the faults with the number of short blinks that shows each.
func FaultBits() []Field {
	return []Field{
		{"CLOCK_LOST", FaultBitClockLost, "", "1 blink", "", "the clock chip stopped, was never set or shows no valid time"},
		{"CLOCK_SILENT", FaultBitClockSilent, "", "2 blinks", "", "the clock chip does not answer or does not keep what is written"},
		{"NO_TABLE", FaultBitNoTable, "", "3 blinks", "", "no valid table"},
		{"TABLE_OVER", FaultBitTableOver, "", "4 blinks", "", "the table ends within two weeks, or has ended"},
		{"JAM", FaultBitJam, "", "5 blinks", "", "the wheel did not turn"},
		{"SUPPLY", FaultBitSupply, "", "6 blinks", "", "the supply is too low to turn the wheel"},
		{"MISSED", FaultBitMissed, "", "7 blinks", "", "a serving was missed"},
	}
}
