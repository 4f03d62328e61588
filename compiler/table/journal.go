package table

import "fmt"

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
	journalAsked   = 15
	journalFaults  = 16 // u16
	journalStepped = 18 // u16
	journalTried   = 20 // u16
	journalPressed = 22 // u16
	journalDay     = 24 // u16
	journalLeft    = 26 // u16
	journalHolds   = 28 // u16
	journalPresses = 30
	journalLast    = 31
	journalFails   = 32
	journalGuard   = 33
	journalCRC     = 34 // u16, of the bytes before it
	journalSteps   = 36 // of the last even-numbered step, of the last odd-numbered one
	journalSeal    = 38
)

// JournalRecord lists the fields of a journal record.
func JournalRecord() []Field {
	return []Field{
		{"MARK", journalMark, "1", "", "a mark, or FF", "mark of the sequence number modulo 16; written when all before the steps stands, so that a record is whole or void"},
		{"KIND", journalKind, "1", "", "see Kinds", "bits 3-0: what the record is; bits 7-4: how often the serving was resumed, at most 15"},
		{"POCKETS", journalPockets, "2", "pockets", "0 to 65535", "to be turned for this record"},
		{"CURSOR", journalCursor, "4", "minutes", "", "every serving up to and including this minute of UTC is settled; 3FFFFFF: none is known"},
		{"CARRY", journalCarry, "4", "tenths of mass units", "", "remainder after those pockets, two's complement"},
		{"PRESET", journalPreset, "1", "index", "0 to 7", "preset in force"},
		{"ADJUST", journalAdjust, "1", "tenths", "8 to 12", "portion adjustment"},
		{"TOKEN", journalToken, "1", "", "0 to 255", "of the last serving asked for over the line, so that a repeated request is recognised after a reset"},
		{"ASKED", journalAsked, "1", "pockets", "0 to 40", "asked for by button or line in the window of a day"},
		{"FAULTS", journalFaults, "2", "", "see Faults", "those that stay shown until somebody acknowledges them"},
		{"STEPPED", journalStepped, "2", "minutes", "modulo 65536", "sum of all steps made by setting the clock; feeding time is the clock's minute less this"},
		{"TRIED", journalTried, "2", "minutes", "modulo 65536", "feeding time at which the wheel last began to turn for the plan"},
		{"PRESSED", journalPressed, "2", "minutes", "modulo 65536", "feeding time of the last serving by button or line"},
		{"DAY", journalDay, "2", "minutes", "modulo 65536", "feeding time of the first one in the window of a day"},
		{"LEFT", journalLeft, "2", "pockets", "0 to 65535", "in the hopper, by what was turned since it was filled"},
		{"HOLDS", journalHolds, "2", "pockets", "0 to 65533", "in the hopper when filled; 0: nobody has said"},
		{"PRESSES", journalPresses, "1", "servings", "", "by button or line: bits 3-0 since an hour without one, bits 7-4 in the window of a day"},
		{"LAST", journalLast, "1", "pockets", "0 to 255", "of the last serving of the plan, 255 if more"},
		{"FAILS", journalFails, "1", "attempts", "0 to 255", "in a row that did not succeed, that of this record included"},
		{"GUARD", journalGuard, "1", "", "see Guards", "what limits the next serving of the plan"},
		{"CRC", journalCRC, "2", "", "", "CRC-16/IBM-SDLC of the bytes before it"},
		{"STEPS", journalSteps, "2", "", "a mark, or FF, each", "of the newest even-numbered step, then of the newest odd-numbered one: the mark of half its number, rounded down; step n starts pocket n, the step after the last pocket ends the serving"},
		{"SEAL", journalSeal, "1", "", "a mark, or FF", "mark 0: everything but the steps was whole when it was written; a restart has nothing to write again"},
	}
}

// Guards of the plan's next serving.
const (
	GuardFed     = 1 << iota // the wheel has turned for the plan within FedMinutes of feeding time
	GuardStepped             // the clock was stepped since the last serving of the plan
)

// JournalGuards lists the bits of the journal's GUARD.
func JournalGuards() []Field {
	return []Field{
		{"FED", GuardFed, "", "", "", "the wheel has turned for the plan within the last six hours of feeding time"},
		{"STEPPED", GuardStepped, "", "", "", "the clock was stepped by more than ten minutes since the plan's last serving: the next one is given only without FED"},
	}
}

// Limits of what is given, whatever table, button and line say.
const (
	MaxAsked      = 20  // pockets in one serving by button or line
	MaxAskedDay   = 40  // pockets by button or line in the window of a day
	MaxPerHour    = 8   // presses
	MaxPerDay     = 15  // presses
	FedMinutes    = 360 // between servings of the plan around a step of the clock
	SteppedMost   = 10  // minutes: a larger step of the clock is guarded
	ResumedAtOnce = 3   // attempts at a serving before the first rest
	FirstRest     = 15  // minutes
	LaterRest     = 90  // minutes, at least
)

// FeedingLimits lists them for the firmware.
func FeedingLimits() []Field {
	return []Field{
		{"MAX_ASKED", MaxAsked, "", "pockets", "", "in one serving by button or line"},
		{"MAX_ASKED_DAY", MaxAskedDay, "", "pockets", "", "by button or line in 24 hours from the first"},
		{"FED_MINUTES", FedMinutes, "", "minutes", "", "between servings of the plan around a step of the clock"},
		{"STEPPED_MOST", SteppedMost, "", "minutes", "", "by which the clock may be set without being guarded"},
		{"ATTEMPTS_AT_ONCE", ResumedAtOnce, "", "attempts", "", "before the wheel first rests"},
		{"FIRST_REST", FirstRest, "", "minutes", "", "after those"},
		{"LATER_REST", LaterRest, "", "minutes", "", "after every further one, or longer where a pocket takes long"},
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
	Faults   int // latched
	Stepped  int // minutes, modulo 65536
	Pressed  int // feeding time of the last serving by button or line, minutes modulo 65536
	First    int // and of the first one in the window of a day
	Asked    int // pockets
	Left     int // pockets in the hopper
	Holds    int // pockets; 0: not said
	Hour     int // presses
	Day      int // presses
	Fails    int // attempts in a row
	Guard    int // Guard... bits
	Sealed   bool
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
		Faults:   int(le16(b[journalFaults:])),
		Stepped:  int(le16(b[journalStepped:])),
		Pressed:  int(le16(b[journalPressed:])),
		First:    int(le16(b[journalDay:])),
		Asked:    int(b[journalAsked]),
		Left:     int(le16(b[journalLeft:])),
		Holds:    int(le16(b[journalHolds:])),
		Hour:     int(b[journalPresses] & 0xF),
		Day:      int(b[journalPresses] >> 4),
		Fails:    int(b[journalFails]),
		Guard:    int(b[journalGuard]),
		Sealed:   b[journalSeal] == Mark(0),
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
		if whole && (!ok || j.After(newest)) {
			newest, ok = j, true
		}
	}
	return newest, ok
}

// After reports whether a record was written after another of the same ring: sequence numbers are compared by difference,
// so that they may wrap.
func (j Journal) After(o Journal) bool {
	return uint(j.Sequence-o.Sequence)%SequenceCount-1 < SequenceCount/2-1
}

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
	EventLeftOut
	EventFault
	EventCleared
	EventRefilled
)

// Events lists what the history records.
func Events() []Field {
	return []Field{
		{"SERVED", EventServed, "", "pockets", "", "a serving of the plan was begun; what could not be given of it follows as LEFT_OUT"},
		{"MANUAL", EventManual, "", "pockets", "", "a serving by button or line was begun"},
		{"MISSED", EventMissed, "", "servings", "", "so many servings were not given, the first of them at the minute"},
		{"RESUMED", EventResumed, "", "pockets", "", "a serving cut short is given its rest"},
		{"JAM", EventJam, "", "pockets", "", "the wheel did not turn; so many pockets are still to come, or are left out if LEFT_OUT follows"},
		{"SUPPLY", EventSupply, "", "millivolts", "", "the supply was too low to turn the wheel"},
		{"STARTED", EventStarted, "", "MCUSR", "", "reset; which flags of the reset status register were set"},
		{"CLOCK_LOST", EventClockLost, "", "fault bits", "", "the clock chip could not be trusted; time goes on from the watchdog"},
		{"CLOCK_SET", EventClockSet, "", "seconds", "", "the clock was set, by so much: two's complement; 8000: by more than that can say"},
		{"TABLE", EventTable, "", "sequence", "", "a new table was committed"},
		{"PRESET", EventPreset, "", "index", "", "another preset"},
		{"ADJUST", EventAdjust, "", "tenths", "", "another portion adjustment"},
		{"LEFT_OUT", EventLeftOut, "", "pockets", "", "so many of a serving were left out: it could not be given in time"},
		{"FAULT", EventFault, "", "fault bits", "", "faults that stay shown until they are acknowledged"},
		{"CLEARED", EventCleared, "", "fault bits", "", "faults were acknowledged, by a button or over the line"},
		{"REFILLED", EventRefilled, "", "pockets", "", "the hopper was filled with so many; 0: how many is not known"},
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

// EncodeHistory writes one record as a feeder keeps it.
func EncodeHistory(h History) []byte {
	w := uint32(h.At)&CursorNone | uint32(h.Event)<<26
	b := []byte{h.Sequence, byte(w), byte(w >> 8), byte(w >> 16), byte(w >> 24), byte(h.Value), byte(h.Value >> 8)}
	return append(b, byte(CRC(b)))
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
	FaultBitPower
	FaultBitSwitch
	FaultBitBarrier
	FaultBitEmpty
	FaultBitRefill
	FaultBitTableDamaged
	FaultBitRestarted
)

// ShortFlashes is how many of the faults are shown by short flashes alone; the others begin with a long one.
const ShortFlashes = 7

// FaultBits lists the faults, the first shown first, with the flashes that show each.
func FaultBits() []Field {
	return []Field{
		{"CLOCK_LOST", FaultBitClockLost, "", Flashes(0), "", "the clock chip stopped, was never set or shows no valid time"},
		{"CLOCK_SILENT", FaultBitClockSilent, "", Flashes(1), "", "the clock chip does not answer or does not keep what is written"},
		{"NO_TABLE", FaultBitNoTable, "", Flashes(2), "", "no valid table"},
		{"TABLE_OVER", FaultBitTableOver, "", Flashes(3), "", "the table ends within two weeks, or has ended"},
		{"JAM", FaultBitJam, "", Flashes(4), "", "the wheel is stuck"},
		{"SUPPLY", FaultBitSupply, "", Flashes(5), "", "the supply is too low to turn the wheel, at rest or under the servo"},
		{"MISSED", FaultBitMissed, "", Flashes(6), "", "a serving was missed, or a part of one"},
		{"POWER", FaultBitPower, "", Flashes(7), "", "a serving was cut short by a loss of supply or a reset: what fell may differ by a pocket, or more was left out"},
		{"SWITCH", FaultBitSwitch, "", Flashes(8), "", "the index switch fails, the wheel is held, or the servo has no power"},
		{"BARRIER", FaultBitBarrier, "", Flashes(9), "", "the light barrier at the outlet is blind or always dark"},
		{"EMPTY", FaultBitEmpty, "", Flashes(10), "", "less fell than was turned: hopper empty, food bridging, or the wheel stands"},
		{"REFILL", FaultBitRefill, "", Flashes(11), "", "by what was turned since it was filled, the hopper is nearly empty"},
		{"TABLE_DAMAGED", FaultBitTableDamaged, "", Flashes(12), "", "the bytes of a table changed by themselves; the other bank's table is in force, if it is good"},
		{"RESTARTED", FaultBitRestarted, "", Flashes(13), "", "the program hung, and the watchdog restarted it"},
	}
}

// LatchedFaults are those that stay shown, through resets, until somebody acknowledges them; the others follow their cause.
const LatchedFaults = FaultBitJam | FaultBitSupply | FaultBitMissed | FaultBitPower | FaultBitSwitch | FaultBitBarrier | FaultBitEmpty |
	FaultBitTableDamaged | FaultBitRestarted

// Flashes says how the light shows the fault of a bit: "3 flashes", or "a long flash and 2 short ones".
func Flashes(bit int) string {
	switch n := bit + 1 - ShortFlashes; {
	case bit == 0:
		return "1 flash"
	case n <= 0:
		return fmt.Sprintf("%d flashes", bit+1)
	case n == 1:
		return "a long flash and a short one"
	default:
		return fmt.Sprintf("a long flash and %d short ones", n)
	}
}
