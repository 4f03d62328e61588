package ds3231

// Address is the chip's seven-bit address on the bus.
const Address = 0x68

// Start begins a transfer: the time is copied, so that one burst read is consistent [DS p.11].
func (c *Chip) Start(now uint64, reading bool) {
	c.Sync(now)
	c.copyTime()
	c.first = !reading
}

func (c *Chip) copyTime() { copy(c.buffer[:], c.reg[:]) }

// Write takes a byte at its acknowledge. It reports whether that went to a register: the first one sets the pointer.
func (c *Chip) Write(now uint64, v uint8) (register bool) {
	c.Sync(now)
	if c.first {
		c.first = false
		c.pointer = v % registers // choice: addresses beyond 12h wrap
		return false
	}
	c.writeRegister(now, v)
	c.pointer = (c.pointer + 1) % registers
	return true
}

// Read gives the byte at the pointer; the pointer wraps from 12h to 00h, where the time is copied anew [DS p.11].
func (c *Chip) Read(now uint64) uint8 {
	c.Sync(now)
	v := c.reg[c.pointer]
	switch {
	case c.pointer <= Year:
		v = c.buffer[c.pointer]
	case c.pointer == Status && c.busy(now):
		v |= BSY
	}
	c.pointer = (c.pointer + 1) % registers
	if c.pointer == 0 {
		c.copyTime()
	}
	return v
}

// Stop ends a transfer.
func (c *Chip) Stop() {
	if c.touched {
		c.touched = false
		c.checkMasks()
	}
}

// writable holds the bits of the time registers that exist [DS p.11, figure 1].
var writable = [...]uint8{Seconds: 0x7F, Minutes: 0x7F, Hours: 0x7F, Day: 0x07, Date: 0x3F, Month: 0x9F, Year: 0xFF}

func (c *Chip) writeRegister(now uint64, v uint8) {
	r := &c.reg
	switch p := c.pointer; {
	case p == Seconds: // resets the countdown chain [DS p.12]
		r[p] = v & writable[p]
		c.edge = now
	case p <= Year:
		r[p] = v & writable[p]
	case p == Control:
		c.writeControl(now, v)
	case p == Status: // OSF and the alarm flags can only be cleared [DS p.14]
		r[p] = v&EN32kHz | r[p]&v&(OSF|A2F|A1F)
	case p == Ageing:
		r[p] = v
	case p == TempMSB, p == TempLSB:
	default:
		r[p] = v
		c.touched = true
	}
}

func (c *Chip) writeControl(now uint64, v uint8) {
	start := v&CONV != 0 && c.converting == never && !c.busy(now)
	c.reg[Control] = v &^ CONV
	if start {
		c.converting = now
	}
	if c.converting != never {
		c.reg[Control] |= CONV
	}
	c.updateOscillator(now)
}

// Register returns a register as of an instant, without a bus.
func (c *Chip) Register(now uint64, at uint8) uint8 {
	c.Sync(now)
	return c.reg[at%registers]
}

// Set puts the chip's time at an instant to what a programmer would have written: year 0 to 99, 24-hour format, the flag
// OSF cleared, weekday Monday 1.
func (c *Chip) Set(now uint64, year, month, date, weekday uint8, ofDay uint32) {
	c.Sync(now)
	c.storeTime(moment{ofDay: uint64(ofDay), weekday: weekday, date: date, month: month, year: year})
	c.reg[Status] &^= OSF
	c.edge = now
}
