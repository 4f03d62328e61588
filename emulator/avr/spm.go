package avr

// Bits of SPMCSR [DS 26.3.1].
const (
	spmie  = 1 << 7
	rwwsb  = 1 << 6
	sigrd  = 1 << 5
	rwwsre = 1 << 4
	blbset = 1 << 3
	pgwrt  = 1 << 2
	pgers  = 1 << 1
	spmen  = 1 << 0
)

// spmMicros is the longest time of a page erase or write [DS table "SPM programming time", 3.7 to 4.5 ms; number from memory].
const spmMicros = 4500

type spmState struct {
	armedUntil uint64 // SPM acts up to this cycle; 0: not armed
	busy       bool
	buffer     [64]uint16
	filled     uint64 // bit n: word n of the buffer was loaded
}

// program is a flash image with its decoded form, shared between forks and never
// changed: writing replaces it.
type program struct {
	flash [codeWords]uint16 // a smaller flash is mirrored
	plain [codeWords]inst   // as decoded
	code  [codeWords]inst   // with fused forms and marked loops, for the fast loop
	hash  uint64
	bare  *program  // with plain instructions only
	round *program  // in its code only the insides of waiting loops; poll.go
	bits  []bitWait // loops of that kind; bitwait.go
}

// setFlash replaces the flash contents and decodes them.
func (m *MCU) setFlash(flash []uint16) {
	p := &program{hash: hashWords(flash)}
	for pc := range p.code {
		p.flash[pc] = flash[pc&(len(flash)-1)]
		p.plain[pc] = decode(flash, uint16(pc))
	}
	p.bare = &program{flash: p.flash, plain: p.plain, code: p.plain}
	fuse(p, m.ramEnd)
	m.prog, m.attention = p, true // the fast loop has the old one
}

// Flash returns a copy of the flash, one element per word.
func (m *MCU) Flash() []uint16 {
	return append([]uint16(nil), m.prog.flash[:m.part.FlashWords]...)
}

// flashByte is LPM: bit 0 of the address selects the high byte. With SIGRD armed
// it reads the signature row [DS 26.8.10]. The row gives the device signature at
// 0, 2, 4 and OSCCAL at 1; other bytes read FF [choice].
func (m *MCU) flashByte(addr uint16) uint8 {
	if m.spm.armedUntil != 0 && m.mem[SPMCSR]&(sigrd|blbset) != 0 {
		return m.signatureByte(addr)
	}
	w := m.prog.flash[addr>>1&(codeWords-1)]
	return uint8(w >> (addr & 1 * 8))
}

func (m *MCU) signatureByte(addr uint16) uint8 {
	defer func() { m.spm.armedUntil, m.mem[SPMCSR] = 0, m.mem[SPMCSR]&(spmie|rwwsb) }()
	switch {
	case m.mem[SPMCSR]&blbset != 0:
		return 0xFF // fuse and lock bits, unprogrammed
	case addr < 6 && addr&1 == 0:
		return m.part.Signature[addr/2]
	case addr == 1:
		return 0x80
	}
	return 0xFF
}

func (m *MCU) readSPMCSR() uint8 {
	v := m.mem[SPMCSR]
	if !m.spm.busy && m.cycle > m.spm.armedUntil {
		v &^= sigrd | rwwsre | blbset | pgwrt | pgers | spmen
	}
	return v
}

func (m *MCU) writeSPMCSR(v uint8) {
	if m.spm.busy {
		m.mem[SPMCSR] = m.mem[SPMCSR]&^spmie | v&spmie
	} else {
		m.mem[SPMCSR] = v&^rwwsb | m.mem[SPMCSR]&rwwsb
		m.spm.armedUntil = 0
		if v&spmen != 0 {
			m.spm.armedUntil = m.cycle + 4
		}
	}
	m.request(VectorSPMReady, m.mem[SPMCSR]&spmie != 0 && !m.spm.busy)
}

// storeProgram is SPM: within four cycles of SPMEN, from the boot section only,
// and not during an EEPROM write [DS 26.8].
func (m *MCU) storeProgram() {
	m.volatile = true
	armed := m.spm.armedUntil != 0 && m.cycle <= m.spm.armedUntil
	at := (m.pc - 1) & m.pcMask
	if !armed || at < m.bootStart() || m.ee.busy || m.spm.busy {
		return
	}
	m.spm.armedUntil = 0
	z := m.pointer(30) >> 1 & m.pcMask
	switch m.mem[SPMCSR] & (rwwsre | blbset | pgwrt | pgers | spmen) {
	case spmen: // fill the buffer; a word can be loaded once
		n := z & (m.part.PageWords - 1)
		if m.spm.filled>>n&1 == 0 {
			m.spm.filled |= 1 << n
			m.spm.buffer[n] = m.pointer(0)
		}
		m.mem[SPMCSR] &^= spmen
	case spmen | pgers:
		m.programPage(z, func(old uint16, _ int) uint16 { return erased })
	case spmen | pgwrt:
		m.programPage(z, func(old uint16, n int) uint16 {
			if m.spm.filled>>n&1 == 0 {
				return old
			}
			return old & m.spm.buffer[n]
		})
		m.spm.filled = 0
	case spmen | rwwsre:
		m.spm.filled = 0
		m.mem[SPMCSR] &^= rwwsb | rwwsre | spmen
	}
}

// programPage starts a page operation. The page holds its new contents at once
// [choice: nothing may read it before the operation ends]. Writing in the
// read-while-write section sets RWWSB; in the boot section the CPU halts.
func (m *MCU) programPage(z uint16, word func(old uint16, n int) uint16) {
	flash := m.Flash()
	page := z &^ (m.part.PageWords - 1)
	for n := range int(m.part.PageWords) {
		flash[int(page)+n] = word(flash[int(page)+n], n)
	}
	m.setFlash(flash)
	if page >= m.bootStart() {
		m.cycle += m.micros(spmMicros)
		m.mem[SPMCSR] &^= pgers | pgwrt | spmen
		return
	}
	m.spm.busy = true
	m.mem[SPMCSR] |= rwwsb
	m.setReal(evSPM, m.cycle+m.micros(spmMicros))
	m.request(VectorSPMReady, false)
}

func (m *MCU) spmDone() {
	m.spm.busy = false
	m.mem[SPMCSR] &^= pgers | pgwrt | spmen
	m.request(VectorSPMReady, m.mem[SPMCSR]&spmie != 0)
}
