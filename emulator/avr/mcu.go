package avr

import "math"

const (
	never     = math.MaxUint64 // an event that is not scheduled
	memBytes  = 4096           // data memory array; a power of two, so that masking replaces bounds checks
	codeWords = 16384          // decoded words; a smaller flash is mirrored, as the PC wraps
	ramStart  = 0x100
)

// mode says what the CPU is doing.
type mode uint8

const (
	modeRun     mode = iota // executing
	modeSleep               // asleep; sleepMode says how
	modeWaking              // woken, main oscillator starting
	modeReset               // held in reset, or its start-up delay running
	modeOff                 // no supply
	modeStopped             // BREAK or an illegal instruction; only reset or Resume go on
)

// state is everything that a snapshot holds: plain fixed-size values only, so
// that copying the struct copies the machine and encoding it hashes it.
type state struct {
	memories
	core
}

type memories struct {
	mem        [memBytes]byte
	eeprom     [1024]byte
	cellWrites [1024]uint32
}

type core struct {
	pc        uint16
	sp        uint16
	sreg      uint8
	mode      mode
	sleepMode sleepMode // valid in modeSleep and modeWaking
	illegal   bool      // modeStopped by a reserved instruction
	inhibit   bool      // execute one instruction before any interrupt [DS 7.7]
	resetReq  uint8     // MCUSR bits of a reset to be taken at the next instruction boundary
	irq       uint32    // bit v: vector v is flagged and enabled
	cycle     uint64
	awakeFrom uint64 // cycle since which the CPU has executed; valid in modeRun

	clock  clockState
	events eventState
	gpio   gpioState
	timers [3]timerState
	usart  usartState
	twi    twiState
	ee     eepromState
	wdt    watchdogState
	adc    adcState
	spm    spmState
	supply supplyState
	stats  Stats

	bandgap uint16 // mV of the internal reference; no reset changes it
}

// MCU is one microcontroller. It is not safe for concurrent use; forks are
// independent of each other.
type MCU struct {
	state
	part  Part
	fuses Fuses
	prog  *program
	hooks Hooks
	opt   Options

	ramEnd    uint16 // last SRAM address
	spMask    uint16 // bits that SPH and SPL have
	pcMask    uint16
	attention bool // leave exec: an event, interrupt or mode changed
	volatile  bool // an I/O access since the flag was last cleared depends on the time or has an effect
	stopped   bool // Stop was called
	touched   bool // the board called, or was called, since the flag was last cleared
	poll      pollState
	nap       napState
}

// Options are choices of the host, not of the chip. None changes what a correct
// program computes, or when.
type Options struct {
	NoFuse     bool   // execute no fused instruction pairs
	NoPollSkip bool   // execute every iteration of loops that wait
	NoNapSkip  bool   // execute every watchdog nap
	Strict     Strict // checks stricter than the chip
}

// Config describes the chip to build.
type Config struct {
	Part       Part
	Fuses      Fuses
	ClockHz    uint64 // frequency of the main oscillator
	WatchdogHz uint64 // frequency of the watchdog oscillator; 0: 128 kHz
	Supply     uint16 // millivolts on AVCC; 0: 5000
	Hooks      Hooks
	Options    Options
}

// New returns a chip with erased flash and EEPROM, just powered up: it counts
// its start-up delay when Run begins.
func New(c Config) *MCU {
	if c.Part.FlashWords == 0 {
		c.Part = ATmega328P
	}
	if c.ClockHz == 0 {
		c.ClockHz = 16_000_000
	}
	if c.WatchdogHz == 0 {
		c.WatchdogHz = 128_000
	}
	if c.Supply == 0 {
		c.Supply = 5000
	}
	m := &MCU{part: c.Part, fuses: c.Fuses, hooks: c.Hooks, opt: c.Options}
	m.ramEnd = ramStart + m.part.RAMSize - 1
	m.spMask = m.ramEnd | m.ramEnd>>1 | m.ramEnd>>2 | m.ramEnd>>3
	m.pcMask = m.part.FlashWords - 1
	m.clock.baseHz, m.clock.hz, m.clock.wdtHz = c.ClockHz, c.ClockHz, c.WatchdogHz
	for i := range m.eeprom {
		m.eeprom[i] = 0xFF
	}
	m.events.init()
	m.supply.millivolts = c.Supply
	m.bandgap = bandgapMillivolts
	m.gpio.init()
	m.setFlash(m.erasedFlash())
	m.stats.MinSP = m.ramEnd
	m.reset(resetPowerOn)
	return m
}

// Part returns the part emulated.
func (m *MCU) Part() Part { return m.part }

// PC returns the word address of the next instruction.
func (m *MCU) PC() uint16 { return m.pc & m.pcMask }

// SetPC moves the program counter to a word address, for tests and debuggers.
func (m *MCU) SetPC(pc uint16) { m.pc = pc & m.pcMask }

// SP returns the stack pointer.
func (m *MCU) SP() uint16 { return m.sp }

// SetSP sets the stack pointer.
func (m *MCU) SetSP(sp uint16) { m.sp = sp }

// SREG returns the status register, bits I T H S V N Z C.
func (m *MCU) SREG() uint8 { return m.sreg }

// SetSREG sets the status register.
func (m *MCU) SetSREG(s uint8) { m.sreg = s }

// Reg returns general register r, 0 to 31.
func (m *MCU) Reg(r uint8) uint8 { return m.mem[r&31] }

// SetReg sets general register r, 0 to 31.
func (m *MCU) SetReg(r, v uint8) { m.mem[r&31] = v }

// Regs returns the 32 general registers for reading and writing.
func (m *MCU) Regs() []byte { return m.mem[:32] }

// Poke writes a data address as a program would, between instructions.
func (m *MCU) Poke(addr uint16, v uint8) { m.store(addr, v) }

// ReadData reads a data address as a program would, with its side effects, between
// instructions.
func (m *MCU) ReadData(addr uint16) uint8 { return m.load(addr) }

// Executing reports whether the CPU executes: not asleep, starting, in reset, or
// without supply.
func (m *MCU) Executing() bool { return m.mode == modeRun }

// Asleep reports whether the CPU sleeps or is starting up again, and the SM field of
// SMCR it sleeps by.
func (m *MCU) Asleep() (sm uint8, asleep bool) {
	return uint8(m.sleepMode), m.mode == modeSleep || m.mode == modeWaking
}

// RAM returns the SRAM, from 0x100 to the end, for reading and writing.
func (m *MCU) RAM() []byte { return m.mem[ramStart : m.ramEnd+1] }

// EEPROM returns the EEPROM cells for reading and writing from outside. A byte
// being written still holds its old value.
func (m *MCU) EEPROM() []byte { return m.eeprom[:m.part.EEPROMSize] }

// Peek reads a data address without side effects: the I/O byte as the program
// would see it if reading it did nothing.
func (m *MCU) Peek(addr uint16) uint8 { return m.peek(addr) }

// SetHooks replaces the board's hooks, for a board that attaches to a fork.
func (m *MCU) SetHooks(h Hooks) { m.hooks = h }

// SetOptions replaces the options.
func (m *MCU) SetOptions(o Options) {
	m.opt = o
	m.poll = pollState{}
	m.nap.reset()
}

// Cycle returns the time in CPU clock periods; see the package comment.
func (m *MCU) Cycle() uint64 { return m.cycle }

// Stop makes Run return at the next instruction boundary. Hooks may call it.
func (m *MCU) Stop() { m.stopped = true; m.attention = true }

// StopReason says why Run returned.
type StopReason uint8

// The reasons.
const (
	StopLimit   StopReason = iota // the cycle limit was reached
	StopCalled                    // Stop was called
	StopBreak                     // BREAK was executed
	StopIllegal                   // a reserved instruction was met; PC points at it
)

func (r StopReason) String() string {
	return [...]string{"limit reached", "stopped by the board", "BREAK", "illegal instruction"}[r]
}

// Run executes until the first instruction boundary at or after cycle limit, or
// until stopped. In a sleep mode it stops at exactly limit.
func (m *MCU) Run(limit uint64) StopReason {
	m.stopped = false
	if m.mode == modeStopped {
		m.mode, m.illegal = modeRun, false
	}
	for m.cycle < limit {
		if reason := m.proceed(limit); reason != StopLimit {
			return reason
		}
	}
	return m.halted()
}

// halted says what else than the limit ends a run here.
func (m *MCU) halted() StopReason {
	switch {
	case m.mode == modeStopped && m.illegal:
		return StopIllegal
	case m.mode == modeStopped:
		return StopBreak
	case m.stopped: // by an event inside the last instruction before the limit
		return StopCalled
	}
	return StopLimit
}

// proceed does the next thing there is to do: run due events and take a reset,
// then enter an interrupt, execute, wake, or jump to the next event.
func (m *MCU) proceed(limit uint64) StopReason {
	if m.mode == modeStopped || m.stopped { // what is due at this very cycle waits, whatever the limit is; called by it, Stop would hide a BREAK
		return m.halted()
	}
	if m.cycle >= m.events.next {
		executing := m.mode == modeRun
		m.runEvents()
		if !executing && m.mode == modeRun {
			return StopLimit // a step of its own: Step stops before the first instruction
		}
	}
	if m.resetReq != 0 {
		m.reset(m.resetReq)
	}
	if m.stopped {
		return StopCalled
	}
	switch m.mode {
	case modeRun:
		m.running(limit)
	case modeSleep:
		m.sleeping(limit)
	default:
		m.cycle = min(limit, m.events.next)
	}
	return StopLimit
}

// RunFor runs for n more cycles.
func (m *MCU) RunFor(n uint64) StopReason { return m.Run(m.cycle + n) }

// Step executes one instruction, or enters one interrupt, or wakes; while the CPU
// does not execute and nothing wakes it, it jumps to the next event, or one cycle on
// if there is none. It says so where that instruction was a BREAK, behind which the next Step goes on, or is a reserved one, which
// the next Step meets again.
func (m *MCU) Step() StopReason {
	m.stopped = false
	if m.mode == modeStopped {
		m.mode, m.illegal = modeRun, false
	}
	limit := m.cycle + 1
	if m.mode != modeRun && m.events.next != never {
		limit = max(limit, m.events.next)
	}
	if reason := m.proceed(limit); reason != StopLimit {
		return reason
	}
	return m.halted()
}

// running serves a pending interrupt or executes.
func (m *MCU) running(limit uint64) {
	bound := min(limit, m.events.next)
	if m.inhibit {
		m.inhibit = false
		bound = min(bound, m.cycle+1)
	} else if m.interrupted() {
		m.enterInterrupt()
		return
	}
	m.execute(bound, limit)
}

// interrupted reports whether an interrupt is to be entered.
func (m *MCU) interrupted() bool { return m.irq != 0 && m.sreg&flagI != 0 }

// execute runs to bound, and on from event to event until limit is reached or there
// is something else to do than to execute instructions.
func (m *MCU) execute(bound, limit uint64) {
	m.attention = false
	image, prog := m.prog, m.prog
	if m.opt.NoFuse {
		prog = image.bare
	}
	for {
		m.exec(prog, bound)
		switch {
		case m.poll.pending:
			m.poll.pending = false
			m.skipWait(bound)
		case m.cycle < bound:
			m.execSlow()
		}
		if m.cycle >= limit || m.inhibit || m.mode != modeRun || m.stopped {
			return
		}
		if m.cycle >= m.events.next {
			m.runEvents()
		}
		if m.attention || m.cycle >= bound {
			if m.mode != modeRun || m.resetReq != 0 || m.stopped || m.interrupted() || m.prog != image {
				return
			}
			m.attention = false
			bound = min(limit, m.events.next)
		}
	}
}
