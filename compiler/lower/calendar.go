package lower

import "mealtab/compiler/plan"

// dayNumber counts days since 2000-01-01 in the Gregorian calendar, by the count of days before a March-based
// month (the leap day is then the last of its year).
func dayNumber(l plan.Local) int {
	y, m := l.Year, l.Month-3
	if m < 0 {
		y, m = y-1, m+12
	}
	return 365*y + floorDiv(y, 4) - floorDiv(y, 100) + floorDiv(y, 400) + (153*m+2)/5 + l.Day - 1 - epochDays
}

// epochDays is the value of the same sum for 2000-01-01: year 1999, month 10 (January), day 1.
const epochDays = 365*1999 + 1999/4 - 1999/100 + 1999/400 + (153*10+2)/5

func minuteOfDay(l plan.Local) int { return l.Hour*60 + l.Minute }

// weekdayOf counts from Monday = 0; 2000-01-01 was a Saturday.
func weekdayOf(day int) int { return floorMod(day+5, 7) }

// weekYearOf is the week-numbering year of a date: that of the day of its week which decides, the fourth.
func weekYearOf(day, weekStart int) int {
	fourth := day - floorMod(weekdayOf(day)-weekStart, 7) + 3
	return yearOf(fourth)
}

func yearOf(day int) int {
	y := 2000 + floorDiv(day, 366)
	for dayNumber(plan.Local{Year: y + 1, Month: 1, Day: 1}) <= day {
		y++
	}
	return y
}

func floorDiv(a, b int) int {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}

func floorMod(a, b int) int { return a - floorDiv(a, b)*b }
