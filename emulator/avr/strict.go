package avr

import "fmt"

// Rule names something that a program must not do.
type Rule uint8

// The rules. The first four are always reported; the others are stricter than
// the chip and reported where Strict asks.
const (
	OutsideMemory  Rule = iota // access beyond the SRAM
	NotModelled                // a peripheral or mode that is not emulated was switched on
	EEPROMLost                 // a write in progress was lost with the supply
	OutOfSpec                  // the supply is too low for the clock and the brown-out detector does not hold reset
	EEPROMBusy                 // EEPROM register used while EEPE is 1
	EEPROMSequence             // interrupt between EEMPE and EEPE
	StackBudget                // stack below Strict.StackFloor
	EEPROMSleep                // power-down entered while EEPE is 1
)

var ruleNames = [...]string{
	"access outside memory", "peripheral not modelled", "EEPROM write lost", "supply below specification",
	"EEPROM access while EEPE=1", "interrupt inside the timed EEPROM sequence", "stack below its budget",
	"power-down while EEPE=1",
}

func (r Rule) String() string { return ruleNames[r] }

// Strict selects checks stricter than the chip.
type Strict struct {
	EEPROM     bool   // EEPROMBusy, EEPROMSequence and EEPROMSleep
	StackFloor uint16 // lowest data address the stack may use; 0: unchecked
}

// Violation is one broken rule.
type Violation struct {
	Rule  Rule
	Addr  uint16 // data or EEPROM address concerned
	PC    uint16 // word address of the instruction after the offending one
	Cycle uint64
}

func (v Violation) String() string {
	return fmt.Sprintf("cycle %d, pc %#04x: %v (address %#x)", v.Cycle, 2*v.PC, v.Rule, v.Addr)
}

func (m *MCU) violate(r Rule, addr uint16) {
	m.stats.Violations++
	m.touched = true
	if m.hooks.Violation != nil {
		m.hooks.Violation(Violation{Rule: r, Addr: addr, PC: m.PC(), Cycle: m.cycle})
	}
}

// noteStack records the deepest stack.
func (m *MCU) noteStack() {
	if m.sp >= m.stats.MinSP || m.sp < ramStart-1 {
		return // a half-written SP or one not yet set up says nothing
	}
	m.stats.MinSP = m.sp
	if floor := m.opt.Strict.StackFloor; floor != 0 && m.sp+1 < floor {
		m.violate(StackBudget, m.sp+1)
	}
}

// Stats counts what happened since construction.
type Stats struct {
	Awake        uint64 // cycles executing
	Idle         uint64 // cycles asleep with the I/O clock running (idle)
	Asleep       uint64 // cycles in the other sleep modes, start-up included
	Wakes        uint64
	Interrupts   uint64
	Resets       uint64
	Violations   uint64
	EEPROMWrites uint64
	MinSP        uint16 // lowest stack pointer seen
}

// Stats returns the counts up to now.
func (m *MCU) Stats() Stats {
	s := m.stats
	if m.mode == modeRun {
		s.Awake += m.cycle - m.awakeFrom
	}
	return s
}

// CellWrites returns the number of writes to each EEPROM cell.
func (m *MCU) CellWrites() []uint32 { return m.cellWrites[:m.part.EEPROMSize] }

// ClearStats starts the counts again.
func (m *MCU) ClearStats() {
	m.stats = Stats{MinSP: max(m.sp, ramStart-1)} // what the fast loop pushes above it is SRAM
	m.cellWrites = [1024]uint32{}
	m.awakeFrom = m.cycle
}
