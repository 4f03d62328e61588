package avr

// Bits of EECR [DS 8.6.3].
const (
	eepm  = 3 << 4
	eerie = 1 << 3
	eempe = 1 << 2
	eepe  = 1 << 1
	eere  = 1 << 0
)

// Durations of the three programming modes in microseconds: erase and write,
// erase only, write only [DS table 8-1]. They run on the RC oscillator and do
// not scale with the CPU clock.
var eepromMicros = [4]uint64{3400, 1800, 1800, 3400}

type eepromState struct {
	armedUntil uint64 // EEPE may be set up to this cycle; 0: not armed
	start, end uint64 // cycles of the write in progress
	addr       uint16
	data       uint8
	mode       uint8 // EEPM of the write in progress
	busy       bool
	weak       [weakCells]weakCell
	noise      uint64 // generator of what their bits read as
	worn       weakCell
}

// weakCell is a cell some bits of which are neither 0 nor 1; mask 0: none.
type weakCell struct {
	addr uint16
	mask uint8
}

const weakCells = 4 // at a time; a further one replaces the oldest

func (m *MCU) strictEEPROM(r Rule, addr uint16) {
	if m.opt.Strict.EEPROM {
		m.violate(r, addr)
	}
}

// checkEEPROMWindow reports an interrupt between EEMPE and EEPE.
func (m *MCU) checkEEPROMWindow() {
	if m.ee.armedUntil != 0 && m.cycle < m.ee.armedUntil {
		m.strictEEPROM(EEPROMSequence, m.eepromAddr())
	}
}

func (m *MCU) eepromAddr() uint16 {
	return (uint16(m.mem[EEARL]) | uint16(m.mem[EEARH])<<8) & (m.part.EEPROMSize - 1)
}

func (m *MCU) readEECR() uint8 {
	v := m.mem[EECR] & (eepm | eerie)
	if m.ee.busy {
		v |= eepe
	}
	if m.ee.armedUntil != 0 && m.cycle <= m.ee.armedUntil {
		v |= eempe
	}
	return v
}

func (m *MCU) writeEEPROM(addr uint16, v uint8) {
	if m.ee.busy && addr != EECR {
		// EEAR cannot be changed while EEPE is 1 [DS 8.6.3]; EEDR can [choice].
		m.strictEEPROM(EEPROMBusy, addr)
		if addr == EEDR {
			m.mem[addr] = v
		}
		return
	}
	switch addr {
	case EEARH:
		m.mem[addr] = v & uint8((m.part.EEPROMSize-1)>>8)
	case EECR:
		m.writeEECR(v)
	default:
		m.mem[addr] = v
	}
}

// writeEECR handles arming, starting and reading. Writing starts only when EEMPE
// was set at most four cycles before [DS 8.6.3].
func (m *MCU) writeEECR(v uint8) {
	armed := m.ee.armedUntil != 0 && m.cycle <= m.ee.armedUntil
	if m.ee.busy {
		if v&(eempe|eepe|eere) != 0 {
			m.strictEEPROM(EEPROMBusy, EECR)
		}
		m.mem[EECR] = m.mem[EECR]&eepm | v&eerie
		m.updateEEPROM()
		return
	}
	m.mem[EECR] = v & (eepm | eerie)
	switch {
	case v&eepe != 0 && armed:
		m.startEEPROM()
	case v&eempe != 0 && v&eepe == 0:
		m.ee.armedUntil = m.cycle + 4
	}
	if v&eere != 0 && !m.ee.busy {
		m.mem[EEDR] = m.readCell(m.eepromAddr())
		m.cycle += 4 // the CPU halts [DS 8.4.1]
	}
	m.updateEEPROM()
}

func (m *MCU) startEEPROM() {
	e := &m.ee
	e.armedUntil = 0
	e.busy = true
	e.addr, e.data, e.mode = m.eepromAddr(), m.mem[EEDR], m.mem[EECR]>>4&3
	e.start = m.cycle
	e.end = m.cycle + m.micros(eepromMicros[e.mode]) - 1
	m.setReal(evEEPROM, e.end)
	m.stats.EEPROMWrites++
	m.cellWrites[e.addr]++
	if m.hooks.EEPROMWrite != nil {
		m.touched = true
		old := m.eeprom[e.addr]
		m.hooks.EEPROMWrite(e.addr, old, e.result(old), e.end)
	}
	m.cycle += 2 // the CPU halts [DS 8.4.1]
}

// result is the cell after the whole operation: write-only can only clear bits.
func (e *eepromState) result(old uint8) uint8 {
	switch e.mode {
	case 1:
		return 0xFF
	case 2:
		return old & e.data
	}
	return e.data
}

func (m *MCU) eepromDone() {
	e := &m.ee
	if !e.busy {
		return
	}
	m.eeprom[e.addr] = e.result(m.eeprom[e.addr])
	if e.worn.mask != 0 && e.worn.addr == e.addr {
		m.eeprom[e.addr] |= e.worn.mask
	}
	for i := range e.weak {
		if w := &e.weak[i]; w.addr == e.addr {
			w.mask &= e.data // write-only mode settles the bits that it clears …
			if e.mode != 2 {
				w.mask = 0 // … an erasure all
			}
		}
	}
	e.busy = false
	m.updateEEPROM()
}

// Weaken makes the bits in mask of a cell marginal: each reading takes them for 0 or
// 1 by chance, until they are written. A write that the supply fails in can leave
// such bits [inference from how the cells work].
func (m *MCU) Weaken(addr uint16, mask uint8, seed uint64) {
	e := &m.ee
	copy(e.weak[1:], e.weak[:])
	e.weak[0] = weakCell{addr & (m.part.EEPROMSize - 1), mask}
	e.noise = seed
}

// WearOut makes the bits in mask of a cell read as 1 whatever is written from now on; mask 0: the cell is good.
func (m *MCU) WearOut(addr uint16, mask uint8) {
	m.ee.worn = weakCell{addr & (m.part.EEPROMSize - 1), mask}
}

// readCell returns what a reading of a cell gives.
func (m *MCU) readCell(addr uint16) uint8 {
	e := &m.ee
	v := m.eeprom[addr]
	for _, w := range e.weak {
		if w.mask != 0 && w.addr == addr {
			e.noise = e.noise*6364136223846793005 + 1442695040888963407
			return v&^w.mask | uint8(e.noise>>56)&w.mask
		}
	}
	return v
}

// updateEEPROM: the ready interrupt is a level, EEPE=0 with EERIE=1.
func (m *MCU) updateEEPROM() {
	m.request(VectorEEReady, !m.ee.busy && m.mem[EECR]&eerie != 0)
}

// EEPROMBusy reports whether a write is in progress, of which cell, the phase
// (true: erasing), and the cycle at which it ends.
func (m *MCU) EEPROMBusy() (addr uint16, erasing bool, end uint64, busy bool) {
	e := &m.ee
	return e.addr, e.erasing(m.cycle), e.end, e.busy
}

// erasing reports the phase: with erase and write the first half erases.
func (e *eepromState) erasing(now uint64) bool {
	return e.mode == 1 || e.mode != 2 && now-e.start < (e.end-e.start)/2
}

// Torn returns a cell whose write was cut: bits on the way to 1 while erasing
// (old OR mask), on the way from 1 to 0 while programming (new OR mask). Any mask
// is possible; for bits that read differently each time see Weaken [inference from how
// the cells work; no sheet says more than "undefined"].
func Torn(old, data uint8, erasing bool, mask uint8) uint8 {
	if erasing {
		return old | mask
	}
	return data | mask
}

// tearEEPROM leaves an undefined byte where the supply failed inside a write.
func (m *MCU) tearEEPROM() {
	e := &m.ee
	if !e.busy {
		return
	}
	old, erasing := m.eeprom[e.addr], e.erasing(m.cycle)
	torn := Torn(old, e.result(old), erasing, 0xFF)
	if m.hooks.TornByte != nil {
		torn = m.hooks.TornByte(e.addr, old, e.result(old), erasing)
	} else if e.mode == 2 {
		torn = old
	}
	m.eeprom[e.addr] = torn
	e.busy = false
	m.violate(EEPROMLost, e.addr)
}
