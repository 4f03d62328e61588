package avr

// Port is one of the three ports.
type Port uint8

// The ports.
const (
	PortB Port = iota
	PortC
	PortD
)

func (p Port) String() string { return "port " + string('B'+rune(p)) }

// Level is what the board puts on a pin.
type Level uint8

// The levels. A floating pin with neither pull-up nor driver keeps its last
// level [choice: a real one is anything].
const (
	Float Level = iota
	Low
	High
)

type gpioState struct {
	driven   [3]uint8 // pins that the board drives
	level    [3]uint8 // their levels; for floating pins the last one
	sampled  [3]uint8 // pin levels after the last change, for edges
	override [3]uint8 // pins taken from PORTx by a compare output
	compare  [3]uint8 // levels of those outputs

	ivceUntil, bodsUntil uint64 // MCUCR change windows; 0: shut
}

func (g *gpioState) init() {}

// SetInput puts a level on pin bit of port p from outside.
func (m *MCU) SetInput(p Port, bit uint8, l Level) {
	mask := uint8(1) << (bit & 7)
	g := &m.gpio
	g.driven[p] &^= mask
	if l != Float {
		g.driven[p] |= mask
		g.level[p] &^= mask
		if l == High {
			g.level[p] |= mask
		}
	}
	m.touched = true
	m.pinsChanged(p)
}

// Pin is the state of one pin as the board sees it.
type Pin struct {
	Output bool // driven by the chip
	High   bool // level driven, or level seen on an input
	PullUp bool // internal pull-up of 20 to 50 kΩ on [DS 29.2]
}

// PinState returns the state of pin bit of port p.
func (m *MCU) PinState(p Port, bit uint8) Pin {
	mask := uint8(1) << (bit & 7)
	out := m.direction(p)&mask != 0
	return Pin{
		Output: out,
		High:   m.pins(p)&mask != 0,
		PullUp: !out && m.pullUps(p)&mask != 0,
	}
}

// Driven returns the pins of port p that the chip drives, by level.
func (m *MCU) Driven(p Port) (high, low uint8) {
	out, levels := m.direction(p), m.pins(p)
	return out & levels, out &^ levels
}

// direction returns the pins driven by the chip. The two-wire interface takes
// PC4 and PC5 as open-drain lines, the USART PD0 and PD1 [DS 14.3].
func (m *MCU) direction(p Port) uint8 {
	if m.mode == modeReset || m.mode == modeOff {
		return 0
	}
	d := m.mem[DDRB+3*uint16(p)]
	switch p {
	case PortC:
		if m.mem[TWCR]&twen != 0 {
			d &^= 0x30
		}
	case PortD:
		if m.mem[UCSR0B]&rxen != 0 {
			d &^= 1
		}
		if m.mem[UCSR0B]&txen != 0 {
			d |= 2
		}
	}
	return d
}

func (m *MCU) pullUps(p Port) uint8 {
	if m.mem[MCUCR]&0x10 != 0 || m.mode == modeReset || m.mode == modeOff { // PUD
		return 0
	}
	return m.mem[PORTB+3*uint16(p)] &^ m.direction(p)
}

// pins returns the levels on port p's pins.
func (m *MCU) pins(p Port) uint8 {
	g := &m.gpio
	dir := m.direction(p)
	out := m.mem[PORTB+3*uint16(p)]&^g.override[p] | g.compare[p]&g.override[p]
	in := g.level[p]&g.driven[p] | (g.level[p]|m.pullUps(p))&^g.driven[p]
	if p == PortD {
		if m.mem[UCSR0B]&txen != 0 {
			out |= 2 // the line idles high; frames are reported whole
		}
		if m.usart.line.active {
			in = in&^1 | m.usart.line.levelAt(m.cycle)
		}
	}
	levels := out&dir | in&^dir
	if p == PortC {
		levels &= 0x7F
	}
	return levels
}

func (m *MCU) writeGPIO(addr uint16, v uint8) {
	p := Port((addr - PINB) / 3)
	switch (addr - PINB) % 3 {
	case 0: // writing PINx toggles PORTx [DS 14.2.2]
		m.mem[addr+2] ^= v
	default:
		if m.mem[addr] == v {
			return
		}
		m.mem[addr] = v
	}
	m.outputsChanged(p)
}

// outputsChanged tells the board, which may answer with SetInput, and looks for edges.
func (m *MCU) outputsChanged(p Port) {
	if m.hooks.Pins != nil {
		m.touched = true
		m.hooks.Pins(p)
	}
	m.pinsChanged(p)
}

// pinsChanged compares the levels of port p with those before and raises pin
// change and external interrupts.
func (m *MCU) pinsChanged(p Port) {
	g := &m.gpio
	now := m.pins(p)
	changed := now ^ g.sampled[p]
	g.sampled[p] = now
	m.attention = true // a loop may be waiting for PINx
	if changed == 0 || m.mode == modeOff {
		return
	}
	if changed&m.mem[PCMSK0+uint16(p)] != 0 {
		m.mem[PCIFR] |= 1 << p
	}
	if p == PortB && changed&1 != 0 {
		m.inputCapture(now&1 != 0)
	}
	if p == PortD {
		m.externalEdges(changed, now)
	}
	m.updateExternal()
}

// writeMCUCR keeps PUD, and IVSEL and BODS under their timed sequences
// [DS 12.4.2, 10.11.2].
func (m *MCU) writeMCUCR(v uint8) {
	old := m.readMCUCR()
	keep := old & 0x62
	switch {
	case v&1 != 0:
		m.gpio.ivceUntil = m.cycle + 4
	case m.cycle <= m.gpio.ivceUntil && m.gpio.ivceUntil != 0:
		keep = keep&^2 | v&2
		m.gpio.ivceUntil = 0
	}
	switch {
	case v&0x60 == 0x60:
		m.gpio.bodsUntil = m.cycle + 4
		keep |= 0x20
	case v&0x60 == 0x40 && old&0x20 != 0:
		keep = keep&^0x20 | 0x40
		m.gpio.bodsUntil = m.cycle + 3 // BODS lasts three cycles: SLEEP must follow
	}
	m.mem[MCUCR] = keep | v&0x11
	for p := PortB; p <= PortD; p++ {
		m.pinsChanged(p)
	}
}

func (m *MCU) readMCUCR() uint8 {
	v := m.mem[MCUCR]
	if m.cycle > m.gpio.ivceUntil {
		v &^= 1
	}
	if m.cycle > m.gpio.bodsUntil {
		v &^= 0x60
	}
	return v
}
