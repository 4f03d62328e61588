package avr

// Bits of WDTCSR [DS 11.9.2].
const (
	wdif = 1 << 7
	wdie = 1 << 6
	wdce = 1 << 4
	wde  = 1 << 3
)

type watchdogState struct {
	start       uint64 // cycle at which the counter was 0
	changeUntil uint64 // WDE and WDP may be changed up to this cycle
}

// watchdogPeriod returns the time-out in CPU cycles: 2048·2^WDP cycles of the
// watchdog oscillator [DS table 11-2], rounded down to whole CPU cycles (its
// tolerance is about 10 %).
func (m *MCU) watchdogPeriod() uint64 {
	v := m.mem[WDTCSR]
	wdp := v&7 | v>>2&8
	return mulDiv(2048<<min(wdp, 9), m.clock.hz, m.clock.wdtHz)
}

// scheduleWatchdog sets the next time-out. The counter goes on past a change of
// the period; if it is already beyond the new one it times out at once [choice].
func (m *MCU) scheduleWatchdog() {
	if m.mem[WDTCSR]&(wde|wdie) == 0 && !m.fuses.WatchdogOn {
		m.setReal(evWatchdog, never)
		return
	}
	period := m.watchdogPeriod()
	if m.wdt.start+period <= m.cycle {
		m.wdt.start = m.cycle + 1 - period
	}
	m.setReal(evWatchdog, m.wdt.start+period)
}

// watchdogReset is WDR.
func (m *MCU) watchdogReset() {
	m.volatile = true
	m.wdt.start = m.cycle
	m.scheduleWatchdog()
}

// watchdogExpired interrupts, resets, or does the first and prepares the second
// [DS table 11-1]. In interrupt and reset mode an interrupt that has not been
// executed by the next time-out resets, too [DS 11.9.2, WDIE].
func (m *MCU) watchdogExpired() {
	m.wdt.start += m.watchdogPeriod()
	v := m.mem[WDTCSR]
	unheard := v&(wde|wdif) == wde|wdif
	if v&wdie != 0 && !unheard && !m.fuses.WatchdogOn {
		m.mem[WDTCSR] |= wdif
		m.request(VectorWDT, true)
		m.scheduleWatchdog()
		return
	}
	m.resetReq |= resetWatchdog
	m.attention = true
}

// watchdogServed clears WDIF on entry to the handler, and WDIE in interrupt and
// reset mode, so that the next time-out resets.
func (m *MCU) watchdogServed() {
	m.mem[WDTCSR] &^= wdif
	if m.mem[WDTCSR]&wde != 0 {
		m.mem[WDTCSR] &^= wdie
	}
	m.request(VectorWDT, false)
}

func (m *MCU) readWDTCSR() uint8 {
	v := m.mem[WDTCSR]
	if m.cycle > m.wdt.changeUntil {
		v &^= wdce
	}
	return v
}

// writeWDTCSR: WDE and WDP change only within four cycles of writing WDCE and
// WDE together, in a write with WDCE 0; WDE can always be set [DS 11.9.2].
func (m *MCU) writeWDTCSR(v uint8) {
	old := m.readWDTCSR()
	next := old&^(wdie|wdif) | v&wdie | old&wdif&^v
	switch {
	case v&(wdce|wde) == wdce|wde:
		next |= wdce | wde
		m.wdt.changeUntil = m.cycle + 4
	case old&wdce != 0 && v&wdce == 0:
		next = next&^(0x27|wde|wdce) | v&(0x27|wde)
		m.wdt.changeUntil = 0
	default:
		next |= v & wde
	}
	if m.mem[MCUSR]&resetWatchdog != 0 || m.fuses.WatchdogOn {
		next |= wde // WDE is overridden by WDRF [DS 11.9.2]
	}
	wasOff := old&(wde|wdie) == 0
	m.mem[WDTCSR] = next
	if wasOff && next&(wde|wdie) != 0 {
		m.wdt.start = m.cycle
	}
	m.request(VectorWDT, next&(wdif|wdie) == wdif|wdie)
	m.scheduleWatchdog()
}

// watchdogAfterReset: WDRF keeps the watchdog on at its shortest period. It counts
// from the end of the start-up delay, which its oscillator times [DS 9.2]; that delay
// may be longer than the period.
func (m *MCU) watchdogAfterReset(flags uint8) {
	m.wdt = watchdogState{start: m.cycle}
	if flags&resetWatchdog != 0 || m.fuses.WatchdogOn {
		m.mem[WDTCSR] = wde
	}
}
