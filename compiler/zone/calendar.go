package zone

const secondsPerDay = 86400

// The proleptic Gregorian calendar repeats every 400 years, which are 146097 days and whole weeks.
const (
	daysPer400Years = 146097
	daysTo1970      = 719162 // from 0001-01-01
)

// daysBefore returns the days of the years 1 to year-1, for any year.
func daysBefore(year int64) int64 {
	y := year - 1
	return 365*y + floorDiv(y, 4) - floorDiv(y, 100) + floorDiv(y, 400)
}

// startOfYear returns the nominal seconds of 1 January, 00:00.
func startOfYear(year int64) int64 { return (daysBefore(year) - daysTo1970) * secondsPerDay }

// yearOf returns the year of a nominal time.
func yearOf(nominal int64) int64 {
	days := floorDiv(nominal, secondsPerDay) + daysTo1970
	cycle := floorDiv(days, daysPer400Years)
	year := cycle*400 + (days-cycle*daysPer400Years)/366 + 1 // at most one too low
	if daysBefore(year+1) <= days {
		year++
	}
	return year
}

func isLeap(year int64) bool { return year%4 == 0 && (year%100 != 0 || year%400 == 0) }

// monthStart[m-1] is the zero-based day of a common year on which month m begins.
var monthStart = [13]int{0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334, 365}

// month returns the zero-based day of the year on which the month begins, and the month's length in days.
func month(year int64, m int) (start, length int) {
	start, length = monthStart[m-1], monthStart[m]-monthStart[m-1]
	if isLeap(year) {
		switch {
		case m == 2:
			length++
		case m > 2:
			start++
		}
	}
	return start, length
}

// weekdayOf counts from Sunday = 0, as POSIX TZ does. 0001-01-01 was a Monday.
func weekdayOf(year int64, dayOfYear int) int {
	return int(floorMod(daysBefore(year)+int64(dayOfYear)+1, 7))
}

func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}

func floorMod(a, b int64) int64 { return a - b*floorDiv(a, b) }
