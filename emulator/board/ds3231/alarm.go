package ds3231

// longestGap is more days than pass between two dates of the same number.
const longestGap = 70

// nextAlarm1 returns in how many seconds, at least one, alarm 1 matches, or never. The match is tested when the time
// registers are updated [DS3232M data sheet p.14], so a time written equal to the alarm does not match.
func (c *Chip) nextAlarm1() uint64 {
	r := &c.reg
	masks := r[A1Seconds]>>7&1 | r[A1Minutes]>>6&2 | r[A1Hours]>>5&4 | r[A1Day]>>4&8
	s, m, h := uint64(bcd(r[A1Seconds]&0x7F)), uint64(bcd(r[A1Minutes]&0x7F)), uint64(hours24(r[A1Hours]&0x7F))
	if !legal1(masks) || s > 59 && masks < 15 || m > 59 && masks < 14 {
		return never
	}
	switch masks {
	case 15:
		return 1
	case 14:
		return c.within(s, 60)
	case 12:
		return c.within(m*60+s, 3600)
	}
	return c.onDay(r[A1Hours], h*3600+m*60+s, masks&8 != 0, r[A1Day])
}

// nextAlarm2 is the same for alarm 2, which matches at second 00.
func (c *Chip) nextAlarm2() uint64 {
	r := &c.reg
	masks := r[A2Minutes]>>7&1 | r[A2Hours]>>6&2 | r[A2Day]>>5&4
	m, h := uint64(bcd(r[A2Minutes]&0x7F)), uint64(hours24(r[A2Hours]&0x7F))
	if !legal2(masks) || m > 59 && masks < 7 {
		return never
	}
	switch masks {
	case 7:
		return c.within(0, 60)
	case 6:
		return c.within(m*60, 3600)
	}
	return c.onDay(r[A2Hours], h*3600+m*60, masks&4 != 0, r[A2Day])
}

// The legal masks, M1 in bit 0 [DS p.12, table 2].
func legal1(masks uint8) bool {
	return masks == 15 || masks == 14 || masks == 12 || masks == 8 || masks == 0
}

func legal2(masks uint8) bool { return masks == 7 || masks == 6 || masks == 4 || masks == 0 }

// within: seconds to the next time that is target in a cycle of so many seconds.
func (c *Chip) within(target, cycle uint64) uint64 {
	return (target+cycle-c.time().ofDay%cycle-1)%cycle + 1
}

// onDay: seconds to the next target on a day that fits. The hours must be in the format of the time [from memory].
func (c *Chip) onDay(hours uint8, target uint64, daily bool, day uint8) uint64 {
	t := c.time()
	if t.twelve != (hours&0x40 != 0) || target >= secondsPerDay {
		return never
	}
	for n := uint64(0); n <= longestGap; n++ {
		if (n > 0 || target > t.ofDay) && (daily || t.fits(day)) {
			return n*secondsPerDay + target - t.ofDay
		}
		if far := t.daysBefore(day); !daily && far > 0 && n+far <= longestGap {
			n, t.date = n+far, t.date+uint8(far)
		}
		t = moment{ofDay: t.ofDay, weekday: t.weekday, date: t.date, month: t.month, year: t.year}.nextDay()
	}
	return never
}

// daysBefore is how many of the days after this one, in the same month, surely do not fit an alarm by date.
func (t moment) daysBefore(day uint8) uint64 {
	if day&DYDT != 0 {
		return 0
	}
	last := t.monthLength()
	if d := bcd(day & 0x3F); d > t.date {
		last = min(last, d-1)
	}
	return uint64(max(last, t.date) - t.date)
}

func (t moment) fits(day uint8) bool {
	if day&DYDT != 0 {
		return t.weekday == day&0x0F
	}
	return t.date == bcd(day&0x3F)
}

// checkMasks counts an illegal combination left in the alarm registers at the end of a transfer.
func (c *Chip) checkMasks() {
	r := &c.reg
	one := r[A1Seconds]>>7&1 | r[A1Minutes]>>6&2 | r[A1Hours]>>5&4 | r[A1Day]>>4&8
	two := r[A2Minutes]>>7&1 | r[A2Hours]>>6&2 | r[A2Day]>>5&4
	if r[Control]&A1IE != 0 && !legal1(one) || r[Control]&A2IE != 0 && !legal2(two) {
		c.illegal++
	}
}

// Low reports whether the open-drain INT/SQW pin pulls down. As an interrupt it is a level: low while an enabled flag
// is set [DS p.14]. On battery it is high-impedance unless BBSQW is set [DS p.13].
func (c *Chip) Low(now uint64) bool {
	control := c.reg[Control]
	if !c.vcc && (!c.cell || control&BBSQW == 0) {
		return false
	}
	if control&INTCN == 0 {
		half := c.halfWave()
		return c.running && (now-c.edge)/half%2 == 0 // high 500 ms after the chain was reset [DS p.12]
	}
	return control&c.reg[Status]&(A1IE|A2IE) != 0
}

// halfWave is half a period of the square wave in ns: 1 Hz, 1.024, 4.096 or 8.192 kHz.
func (c *Chip) halfWave() uint64 {
	return c.period / 2 / [...]uint64{1, 1024, 4096, 8192}[c.reg[Control]>>3&3]
}

// Next returns the next instant at which INT/SQW may change by itself, or the largest uint64.
func (c *Chip) Next(now uint64) uint64 {
	c.Sync(now)
	control := c.reg[Control]
	if !c.running || !c.vcc && control&BBSQW == 0 {
		return never
	}
	at := c.nextConversion()
	if control&INTCN == 0 {
		half := c.halfWave()
		return min(at, c.edge+((now-c.edge)/half+1)*half)
	}
	in := uint64(never)
	if control&A1IE != 0 && c.reg[Status]&A1F == 0 {
		in = min(in, c.nextAlarm1())
	}
	if control&A2IE != 0 && c.reg[Status]&A2F == 0 {
		in = min(in, c.nextAlarm2())
	}
	if in != never {
		at = min(at, c.edge+in*c.period)
	}
	return at
}
