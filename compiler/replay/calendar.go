package replay

// Dates are days since 2000-01-01 in the proleptic Gregorian calendar; negative before.

func floorDiv(a, b int) int {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}

func floorMod(a, b int) int { return a - floorDiv(a, b)*b }

func leap(year int) bool { return year%4 == 0 && (year%100 != 0 || year%400 == 0) }

func yearLength(year int) int {
	if leap(year) {
		return 366
	}
	return 365
}

// yearStart is 1 January: 2000 was a leap year, so leap days are counted from the years before.
func yearStart(year int) int {
	y := year - 1
	return 365*(year-2000) + floorDiv(y, 4) - floorDiv(y, 100) + floorDiv(y, 400) - leapsTo1999
}

const leapsTo1999 = 1999/4 - 1999/100 + 1999/400

func yearOf(day int) int {
	year := 2000 + floorDiv(day*400, 146097) // 400 years have 146,097 days
	for day >= yearStart(year+1) {
		year++
	}
	for day < yearStart(year) {
		year--
	}
	return year
}

// weekday counts from Monday = 0; 2000-01-01 was a Saturday.
func weekday(day int) int { return floorMod(day+5, 7) }

var monthOffset = [13]int{0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334, 365}

// monthStart returns the first day and the length of a month; month counts from 1.
func monthStart(year, m int) (first, length int) {
	first = yearStart(year) + monthOffset[m-1]
	length = monthOffset[m] - monthOffset[m-1]
	if leap(year) {
		if m == 2 {
			length++
		} else if m > 2 {
			first++
		}
	}
	return first, length
}

// month is a month in hand.
type month struct {
	year, month   int // month counts from 1
	first, length int
}

func monthOf(day int) month {
	m := month{year: yearOf(day), month: 1}
	m.first, m.length = monthStart(m.year, 1)
	for day >= m.first+m.length {
		m.next()
	}
	return m
}

func (m *month) next() {
	m.first += m.length
	m.month++
	if m.month > 12 {
		m.year, m.month = m.year+1, 1
	}
	m.length = monthOffset[m.month] - monthOffset[m.month-1]
	if m.month == 2 && leap(m.year) {
		m.length++
	}
}

// number counts months since January 2000.
func (m *month) number() int { return (m.year-2000)*12 + m.month - 1 }

func (m *month) all() uint32 { return 1<<m.length - 1 }

// bit is the mask of a date, 0 when it lies outside the month.
func (m *month) bit(day int) uint32 {
	if d := day - m.first; 0 <= d && d < m.length {
		return 1 << d
	}
	return 0
}

// run is the mask of n dates from a first one, as far as they lie in the month.
func (m *month) run(day, n int) uint32 {
	lo := max(day-m.first, 0)
	hi := min(day-m.first+n, m.length)
	if lo >= hi {
		return 0
	}
	return (1<<hi - 1) &^ (1<<lo - 1)
}
