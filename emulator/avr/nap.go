package avr

// A program that sleeps between events is woken by the watchdog every few seconds,
// counts the nap and sleeps again: millions of times a year, each time alike but
// for a counter. Runs of such naps are skipped, exactly:
//
//  1. One nap is executed instruction by instruction and recorded (the trace).
//     Nothing outside the core may take part: no board, no event but the watchdog,
//     no peripheral state that differs afterwards, apart from the time.
//  2. The trace is executed once more on values that depend on the nap's number j:
//     each byte is a constant, or v + s·j, or unknown (affine.go). Every branch,
//     address and I/O access must come out the same for all j below some n. The
//     bytes at the end of nap j must be those assumed at the start of nap j + 1.
//     By induction the next n naps then follow the trace.
//  3. All but the last one or two of them are skipped: counters get v + s·n, the
//     time and the statistics n times what one nap added. Those are executed, which
//     leaves every other byte that a nap writes exact too: one, dead registers and
//     SREG, two, copies of them on the stack.

const (
	napSteps   = 400 // longest nap analysed, in instructions
	napTries   = 2   // naps alike before one is recorded
	napBackoff = 64  // naps to let pass after an analysis failed
)

// napStep is one recorded instruction, or the interrupt entry (entry set).
type napStep struct {
	in     inst
	pc     uint16 // of the instruction
	next   uint16 // PC afterwards
	addr   uint16 // data address of a load, store, push or pop
	lo, hi uint8  // registers d and d+1 afterwards (r0 and r1 after MUL)
	sreg   uint8  // afterwards
	was    struct {
		d, r, sreg uint8 // registers and SREG before
	}
	entry bool
}

// peripherals is everything outside the registers and SRAM that a nap could
// depend on, with times counted from the moment of falling asleep.
type peripherals struct {
	io        [ramStart - 0x20]byte
	pc, sp    uint16
	sleepMode sleepMode
	irq       uint32
	hz        uint64
	gpio      gpioState
	timers    [3]timerState
	adc       adcState
	prog      *program
	usart     usartState
	twi       twiState
	windows   [6]uint64
	spmBusy   bool
	supply    supplyState
}

// napState remembers the last nap's start and the last trace.
type napState struct {
	pc, sp  uint16
	at      uint64 // cycle of the last fall asleep
	period  uint64 // between the last two
	alike   int
	backoff int
	rest    int // naps to be executed before the next try: the run just skipped ends with them
	skipped uint64
	trace   *napTrace
}

// napTrace is a recorded nap with the state it started from.
type napTrace struct {
	valid  bool
	steps  []napStep
	before [memBytes]byte // memory at its start
	after  [memBytes]byte
	sreg   [2]uint8 // at start and end
	world  peripherals
	period uint64    // between two falls asleep
	asleep uint64    // until the watchdog's time-out
	every  uint64    // between two of those
	stats  [4]uint64 // what one nap adds: awake, asleep, wakes, interrupts
	ioLag  uint64    // what one nap adds
	env    affineEnv
}

func (n *napState) reset() { *n = napState{skipped: n.skipped} }

// SkippedNaps returns how many naps were not executed one by one, for benchmarks.
func (m *MCU) SkippedNaps() uint64 { return m.nap.skipped }

// inert are I/O registers that act on nothing by themselves in a nap: they may
// differ from those of the recorded nap unless it reads them.
var inert = [...]uint16{GPIOR0, GPIOR1, GPIOR2, EEDR, EEARL, EEARH, TWBR, TWSR, TWDR, MCUSR, ADCL, ADCH,
	UBRR0L, UBRR0H, UCSR0C, OCR0A, OCR0B, OCR1AL, OCR1AH, OCR1BL, OCR1BH, OCR2A, OCR2B, ICR1L, ICR1H}

// world collects the peripherals' state relative to now, without what cannot
// matter: timers that stand still, a serial line at rest.
func (m *MCU) world() peripherals {
	t := m.cycle
	left := func(until uint64) uint64 { return max(until, t) - t }
	p := peripherals{
		pc: m.pc, sp: m.sp, sleepMode: m.sleepMode, irq: m.irq, hz: m.clock.hz, prog: m.prog,
		gpio: m.gpio, timers: m.timers, adc: m.adc, usart: m.usart, twi: m.twi,
		windows: [6]uint64{left(m.wdt.changeUntil), left(m.clock.prescaleUntil), left(m.ee.armedUntil),
			left(m.spm.armedUntil), left(m.gpio.ivceUntil), left(m.gpio.bodsUntil)},
		spmBusy: m.spm.busy, supply: m.supply,
	}
	p.gpio.ivceUntil, p.gpio.bodsUntil = 0, 0
	copy(p.io[:], m.mem[0x20:ramStart])
	for _, a := range inert {
		p.io[a-0x20] = 0
	}
	for n := range p.timers {
		if m.prescale(n) == stoppedClock {
			p.timers[n] = timerState{}
		}
	}
	p.adc.result, p.twi.stepFrom = 0, 0
	if !p.usart.sending && !p.usart.line.active {
		p.usart.shift, p.usart.shiftFrom, p.usart.buffer, p.usart.line = 0, 0, 0, rxLine{}
	}
	return p
}

// napStart reports whether the CPU has just fallen asleep in a mode that stops the
// I/O clock, with the watchdog's interrupt the next thing to happen.
func (m *MCU) napStart() bool {
	e := &m.events
	return m.sleepMode != sleepIdle && m.sleepMode != sleepADC && m.irq == 0 && m.sreg&flagI != 0 && m.mem[WDTCSR]&wdie != 0 &&
		e.nextIO == never && e.nextReal == e.real[evWatchdog] && !m.ee.busy
}

// skipNaps is called while the CPU sleeps. It reports whether it moved the time.
func (m *MCU) skipNaps(limit uint64) bool {
	n := &m.nap
	if n.at == m.cycle || !m.napStart() {
		return false
	}
	period := m.cycle - n.at
	same := !m.touched && period == n.period && n.pc == m.pc && n.sp == m.sp
	n.pc, n.sp, n.at, n.period = m.pc, m.sp, m.cycle, period
	m.touched = false
	if n.backoff > 0 {
		n.backoff--
		return false
	}
	if n.rest > 0 {
		n.rest--
		return false
	}
	if n.trace != nil && n.trace.valid {
		if skipped, fits := m.jumpNaps(n.trace, limit); skipped || fits {
			n.alike = 0
			return skipped
		}
	}
	if !same {
		n.alike = 0
		return false
	}
	if m.events.real[evWatchdog]-m.cycle > period {
		n.alike = 0
		return false // something else ended those naps, as octets on the line do: the watchdog's would go on far beyond them, and limit
	}
	if n.alike++; n.alike < napTries || m.napsUntil(limit, period) < 4 {
		return false
	}
	n.alike = 0
	if n.trace == nil {
		n.trace = &napTrace{}
	}
	m.recordNap(n.trace, limit)
	n.at = m.cycle
	if fits := n.trace.valid; fits {
		_, fits = m.jumpNaps(n.trace, limit)
		n.trace.valid = fits
	}
	if !n.trace.valid {
		n.backoff = napBackoff
	}
	return true
}

// napsUntil returns how many whole naps end before anything but the watchdog.
func (m *MCU) napsUntil(limit, period uint64) uint64 {
	for slot, due := range m.events.real {
		if slot != evWatchdog {
			limit = min(limit, due)
		}
	}
	if limit <= m.cycle {
		return 0
	}
	return (limit - m.cycle) / period
}

// jumpNaps skips naps that follow trace t. It reports whether it skipped any, and
// whether the next nap follows the trace at all. If a nap lets the watchdog run on,
// nothing but the time depends on how long the first of them lasts: the program may
// fall asleep at any distance from the time-out.
func (m *MCU) jumpNaps(t *napTrace, limit uint64) (skipped, fits bool) {
	due := m.events.real[evWatchdog]
	if due-m.wdt.start != t.every || due-m.cycle != t.asleep && t.every != t.period || m.world() != t.world {
		return false, false
	}
	naps, fits := t.env.follow(m, t)
	longer := max(due-m.cycle, t.asleep) - t.asleep
	naps = min(naps, m.napsUntil(limit-min(limit, longer), t.period))
	if !fits || naps < 4 {
		return false, fits
	}
	m.nap.rest = t.env.executed()
	m.addNaps(t, naps-uint64(m.nap.rest))
	return true, true
}

// addNaps moves the state n naps on.
func (m *MCU) addNaps(t *napTrace, n uint64) {
	first := m.events.real[evWatchdog] - m.cycle - t.asleep // more than the recorded one; may be negative, modulo 2^64
	shift := n*t.period + first
	windows := [...]*uint64{&m.wdt.changeUntil, &m.clock.prescaleUntil, &m.ee.armedUntil,
		&m.spm.armedUntil, &m.gpio.ivceUntil, &m.gpio.bodsUntil}
	for _, w := range windows {
		if *w >= m.nap.at && *w != 0 { // still open: opened anew in each nap
			*w += shift
		}
	}
	t.env.addNaps(m, n)
	m.cycle += shift
	m.wdt.start += n * t.period
	m.events.real[evWatchdog] += n * t.period
	m.events.ioSince += shift
	m.events.ioLag += n*t.ioLag + first
	m.awakeFrom += shift
	m.stats.Awake += n * t.stats[0]
	m.stats.Asleep += n*t.stats[1] + first
	m.stats.Wakes += n * t.stats[2]
	m.stats.Interrupts += n * t.stats[3]
	m.nap.at = m.cycle
	m.nap.skipped += n
	m.recomputeNext()
	if m.hooks.Naps != nil {
		m.hooks.Naps(n, t.period)
	}
}

// recordNap executes one nap and records it; t is valid if it was of the simple
// kind. It ends early, and is not, where limit is reached or something else happens: proceed goes on from there.
func (m *MCU) recordNap(t *napTrace, limit uint64) {
	t.before, t.sreg[0], t.world, t.period = m.mem, m.sreg, m.world(), m.nap.period
	t.asleep, t.every = m.events.real[evWatchdog]-m.cycle, m.events.real[evWatchdog]-m.wdt.start
	t.steps, t.valid = t.steps[:0], false
	t.env.clear()
	start, stats, lag := m.cycle, m.stats, m.events.ioLag
	m.touched = false
	for m.mode != modeRun && m.resetReq == 0 && !m.stopped && m.cycle < limit {
		m.wakeStep(limit)
	}
	for range napSteps {
		if m.mode != modeRun || m.cycle >= min(limit, m.events.next) {
			m.touched = true
			break
		}
		t.steps = append(t.steps, m.recordStep())
		if m.touched || m.mode != modeRun || m.resetReq != 0 || m.stopped {
			break
		}
	}
	t.after, t.sreg[1] = m.mem, m.sreg
	t.ioLag = m.events.ioLag - lag
	s := &m.stats
	t.stats = [4]uint64{s.Awake - stats.Awake, s.Asleep - stats.Asleep, s.Wakes - stats.Wakes, s.Interrupts - stats.Interrupts}
	due := m.events.real[evWatchdog]
	t.valid = !m.touched && m.mode == modeSleep && m.cycle-start == t.period && m.world() == t.world &&
		due-m.cycle == t.asleep && due-m.wdt.start == t.every &&
		s.Violations == stats.Violations && s.Resets == stats.Resets && s.MinSP == stats.MinSP
}

// wakeStep lets the time go on to the watchdog and through the start-up.
func (m *MCU) wakeStep(limit uint64) {
	if m.cycle >= m.events.next {
		m.runEvents()
		return
	}
	if m.mode == modeSleep && m.irq != 0 {
		m.wake()
		return
	}
	from := m.cycle
	m.cycle = min(limit, m.events.next)
	if m.mode == modeSleep {
		m.account(m.cycle - from)
	}
}

// recordStep executes one instruction or interrupt entry and records it.
func (m *MCU) recordStep() napStep {
	s := napStep{in: m.prog.plain[m.pc&(codeWords-1)], pc: m.pc}
	s.addr = m.dataAddress(s.in)
	s.was.d, s.was.r, s.was.sreg = m.mem[s.in.d()&31], m.mem[s.in.r()&31], m.sreg
	interrupts := m.stats.Interrupts
	m.running(m.cycle + 1)
	s.entry = m.stats.Interrupts != interrupts
	if s.entry {
		s.addr = m.sp + 2
	}
	d := s.in.d()
	switch s.in.op() {
	case opMul, opMuls, opMulsu, opFmul, opFmuls, opFmulsu:
		d = 0
	}
	s.next, s.sreg = m.pc, m.sreg
	s.lo, s.hi = m.mem[d&31], m.mem[(d+1)&31]
	return s
}

// dataAddress returns the address that an instruction is about to access, that of LPM
// in the flash.
func (m *MCU) dataAddress(in inst) uint16 {
	switch in.op() {
	case opLds, opSts, opIn, opOut, opSbi, opCbi, opSbic, opSbis:
		return in.k()
	case opLdd, opStd:
		return m.pointer(uint(in.r())) + in.k()
	case opLdInc, opStInc:
		return m.pointer(uint(in.r()))
	case opLpm, opLpmInc:
		return m.pointer(30)
	case opLdDec, opStDec:
		return m.pointer(uint(in.r())) - 1
	case opPush, opCall, opRcall, opIcall:
		return m.sp
	case opPop, opRet, opReti:
		return m.sp + 1
	}
	return 0
}
