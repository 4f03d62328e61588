package ds3231

// Chip is one clock chip. It holds plain values only: copying it forks it. Instants are nanoseconds and must not go back.
type Chip struct {
	reg    [registers]uint8 // the time registers as of edge
	edge   uint64           // last update of the time registers
	period uint64           // ns that the chip takes for a second
	buffer [Year + 1]uint8  // time registers as copied at START

	pointer uint8
	first   bool // the next byte written sets the pointer
	touched bool // alarm registers were written since START

	vcc, cell bool
	dead      bool   // the crystal stands still
	running   bool   // the oscillator runs
	stoppedAt uint64 // if not running
	seed      uint64 // of what undefined registers hold

	driftPPB    int64  // of the crystal; positive is fast
	temperature int16  // quarter degrees, of the world
	applied     int8   // ageing value in force
	converting  uint64 // start of a conversion asked for by CONV; never: none
	automatic   uint64 // start of the next conversion of the 64 s cycle
	illegal     uint16 // illegal match masks written
}

// New returns a chip that has just seen its first supply: time not set, oscillator-stop flag set.
func New(now, seed uint64) Chip {
	c := Chip{vcc: true, cell: true, seed: seed, temperature: roomTemperature}
	c.lose(now)
	c.startOscillator(now)
	return c
}

// lose gives all registers their first contents. The alarm registers are undefined [DS p.11].
func (c *Chip) lose(now uint64) {
	c.reg = [registers]uint8{Day: 1, Date: 1, Month: 1, Control: controlReset, Status: statusReset}
	for i := A1Seconds; i <= A2Day; i++ {
		c.seed = c.seed*6364136223846793005 + 1442695040888963407
		c.reg[i] = uint8(c.seed >> 56)
	}
	c.edge, c.automatic, c.converting = now, now, never
	c.running, c.stoppedAt = false, now
	c.applied = 0
	c.setPeriod()
	c.storeTemperature()
}

// SetPower connects or removes the main supply: true above VPF.
func (c *Chip) SetPower(now uint64, on bool) {
	c.Sync(now)
	lost := !c.vcc && !c.cell
	c.vcc = on
	if on && lost {
		c.lose(now)
	}
	c.updateOscillator(now)
}

// SetCell inserts or removes the backup cell; a flat cell is none.
func (c *Chip) SetCell(now uint64, good bool) {
	c.Sync(now)
	if !c.vcc && !c.cell && good {
		c.cell = true
		c.lose(now)
	}
	c.cell = good
	c.updateOscillator(now)
}

// SetDead stops the crystal, or lets it run again.
func (c *Chip) SetDead(now uint64, dead bool) {
	c.Sync(now)
	c.dead = dead
	c.updateOscillator(now)
}

// SetDrift sets how much too fast the crystal is, in parts per billion.
func (c *Chip) SetDrift(now uint64, ppb int64) {
	c.Sync(now)
	c.driftPPB = ppb
	c.setPeriod()
}

// SetTemperature sets the temperature of the world in quarter degrees Celsius; the chip notices at its next conversion.
func (c *Chip) SetTemperature(now uint64, quarterDegrees int16) {
	c.Sync(now)
	c.temperature = quarterDegrees
}

// Powered reports whether the main supply is there.
func (c *Chip) Powered() bool { return c.vcc }

// IllegalMasks returns how many illegal alarm masks have been written: "illogical operation" [DS p.12].
func (c *Chip) IllegalMasks() int { return int(c.illegal) }

func (c *Chip) updateOscillator(now uint64) {
	run := !c.dead && (c.vcc || c.cell && c.reg[Control]&EOSC == 0)
	switch {
	case run && !c.running:
		c.startOscillator(now)
	case !run && c.running:
		c.running, c.stoppedAt = false, now
	}
}

// startOscillator goes on from a standstill; one of 100 ms or more sets OSF [DS p.4].
func (c *Chip) startOscillator(now uint64) {
	stood := now - c.stoppedAt
	if stood >= stopDelay {
		c.reg[Status] |= OSF
	}
	c.edge += stood
	c.running = true
}

// Sync brings the registers to an instant.
func (c *Chip) Sync(now uint64) {
	for {
		at := c.nextConversion()
		if at > now {
			break
		}
		c.count(at)
		c.converted(at)
	}
	c.count(now)
	if c.automatic+conversionTime <= now { // conversions that changed nothing
		c.automatic += ((now-conversionTime-c.automatic)/conversionEvery + 1) * conversionEvery
	}
	if !c.running && now-c.stoppedAt >= stopDelay && (c.vcc || c.cell) {
		c.reg[Status] |= OSF
	}
}

// count advances the time registers; flags of alarms that matched on the way are set, whatever the enables [DS p.14].
func (c *Chip) count(now uint64) {
	if !c.running || now < c.edge+c.period {
		return
	}
	n := (now - c.edge) / c.period
	if c.reg[Status]&A1F == 0 && c.nextAlarm1() <= n {
		c.reg[Status] |= A1F
	}
	if c.reg[Status]&A2F == 0 && c.nextAlarm2() <= n {
		c.reg[Status] |= A2F
	}
	c.storeTime(c.time().add(n))
	c.edge += n * c.period
}

// nextConversion is the end of the next conversion that changes anything, or never. Conversions that would change
// nothing are left out; they are seen in BSY only.
func (c *Chip) nextConversion() uint64 {
	if !c.vcc && !c.cell {
		return never
	}
	at := uint64(never)
	if c.converting != never {
		at = c.converting + busyLag + conversionTime
	}
	if c.applied != int8(c.reg[Ageing]) || c.shownTemperature() != c.temperature {
		at = min(at, c.automatic+conversionTime)
	}
	return at
}

func (c *Chip) converted(at uint64) {
	if c.converting != never && at >= c.converting+busyLag+conversionTime {
		c.converting = never
		c.reg[Control] &^= CONV
	}
	for c.automatic+conversionTime <= at {
		c.automatic += conversionEvery
	}
	c.applied = int8(c.reg[Ageing])
	c.storeTemperature()
	c.setPeriod()
}

// busy is BSY: a conversion of either kind is running.
func (c *Chip) busy(now uint64) bool {
	if c.converting != never && now >= c.converting+busyLag {
		return true
	}
	since := now - c.automatic
	if now < c.automatic {
		since = conversionEvery - (c.automatic-now)%conversionEvery
	}
	return since%conversionEvery < conversionTime
}

func (c *Chip) storeTemperature() {
	c.reg[TempMSB], c.reg[TempLSB] = uint8(c.temperature>>2), uint8(c.temperature<<6)
}

func (c *Chip) shownTemperature() int16 {
	return int16(int8(c.reg[TempMSB]))<<2 | int16(c.reg[TempLSB]>>6)
}

// setPeriod: positive ageing values slow the clock [DS3231M data sheet].
func (c *Chip) setPeriod() {
	c.period = uint64(second - c.driftPPB + int64(c.applied)*c.ageingStepPPB())
}

// ageingStepPPB is the effect of one step of the ageing register: 0.7 ppm at -40, 0.1 at +25, 0.4 at +70, 0.8 at +85 °C
// [DS p.3], linear between [choice].
func (c *Chip) ageingStepPPB() int64 {
	points := [...]struct{ t, ppb int64 }{{-40 * quarters, 700}, {25 * quarters, 100}, {70 * quarters, 400}, {85 * quarters, 800}}
	t := min(max(int64(c.shownTemperature()), points[0].t), points[len(points)-1].t)
	i := 1
	for points[i].t < t {
		i++
	}
	a, b := points[i-1], points[i]
	return a.ppb + (b.ppb-a.ppb)*(t-a.t)/(b.t-a.t)
}
