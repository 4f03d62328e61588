package ds3231

// moment is the contents of the time registers as numbers. Values out of range give "undefined operation" [DS p.12];
// here they count on to the next carry.
type moment struct {
	ofDay   uint64 // seconds
	weekday uint8  // 1 to 7, whatever the user means by it
	date    uint8
	month   uint8
	year    uint8
	century bool
	twelve  bool // 12-hour format
}

const secondsPerDay = 86400

func bcd(v uint8) uint8 { return v>>4*10 + v&15 }

func toBCD(v uint8) uint8 { return v/10<<4 | v%10 }

// hours24 reads an hours register, in either format.
func hours24(v uint8) uint8 {
	if v&0x40 == 0 {
		return bcd(v & 0x3F)
	}
	h := bcd(v&0x1F) % 12
	if v&0x20 != 0 {
		h += 12
	}
	return h
}

func (c *Chip) time() moment {
	r := &c.reg
	return moment{
		ofDay:   uint64(hours24(r[Hours]))*3600 + uint64(bcd(r[Minutes]))*60 + uint64(bcd(r[Seconds])),
		weekday: r[Day],
		date:    bcd(r[Date]),
		month:   bcd(r[Month] & 0x1F),
		year:    bcd(r[Year]),
		century: r[Month]&0x80 != 0,
		twelve:  r[Hours]&0x40 != 0,
	}
}

func (c *Chip) storeTime(t moment) {
	r := &c.reg
	r[Seconds], r[Minutes] = toBCD(uint8(t.ofDay%60)), toBCD(uint8(t.ofDay/60%60))
	h := uint8(t.ofDay / 3600)
	if t.twelve {
		half := uint8(0x40)
		if h >= 12 {
			half |= 0x20
		}
		r[Hours] = half | toBCD((h+11)%12+1)
	} else {
		r[Hours] = toBCD(h)
	}
	r[Day], r[Date], r[Month], r[Year] = t.weekday, toBCD(t.date), toBCD(t.month), toBCD(t.year)
	if t.century {
		r[Month] |= 0x80
	}
}

// add counts n seconds.
func (t moment) add(n uint64) moment {
	t.ofDay += n
	for ; t.ofDay >= secondsPerDay; t.ofDay -= secondsPerDay {
		t = t.nextDay()
	}
	return t
}

// nextDay: the weekday just counts; year 99 goes to 00 and toggles the century bit [DS p.12].
func (t moment) nextDay() moment {
	t.weekday = t.weekday%7 + 1
	t.date++
	if t.date <= t.monthLength() {
		return t
	}
	t.date = 1
	t.month++
	if t.month <= 12 {
		return t
	}
	t.month = 1
	t.year++
	if t.year > 99 {
		t.year = 0
		t.century = !t.century
	}
	return t
}

// monthLength: every fourth year is a leap year, "valid up to 2100" [DS p.1].
func (t moment) monthLength() uint8 {
	switch t.month {
	case 4, 6, 9, 11:
		return 30
	case 2:
		if t.year%4 == 0 {
			return 29
		}
		return 28
	}
	return 31
}
