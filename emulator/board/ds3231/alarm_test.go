package ds3231

import "testing"

// dayByDay is onDay without leaving out a day.
func dayByDay(t moment, target uint64, day uint8) uint64 {
	for n := uint64(0); n <= longestGap; n++ {
		if (n > 0 || target > t.ofDay) && t.fits(day) {
			return n*secondsPerDay + target - t.ofDay
		}
		t = t.nextDay()
	}
	return never
}

// TestOnDayLeavesOutOnlyDaysThatDoNotFit: from days of four years, and from dates that do not exist, to every value
// of the alarm's day register.
func TestOnDayLeavesOutOnlyDaysThatDoNotFit(t *testing.T) {
	var starts []moment
	at := moment{weekday: 1, date: 1, month: 1, year: 26}
	for n := range 4*365 + 1 {
		if n%7 == 0 || at.date > 27 || at.date == 1 {
			at.ofDay = (at.ofDay + 3677) % secondsPerDay
			starts = append(starts, at)
		}
		at = at.nextDay()
	}
	for date := range uint8(40) {
		for _, month := range []uint8{0, 1, 2, 12, 13, 19} {
			starts = append(starts, moment{ofDay: 100, weekday: 7, date: date, month: month, year: 99})
		}
	}
	for _, from := range starts {
		var c Chip
		c.storeTime(from)
		for day := range uint8(0x80) {
			for _, target := range []uint64{0, from.ofDay, from.ofDay + 1} {
				want := dayByDay(c.time(), target, day)
				if got := c.onDay(0, target, false, day); got != want {
					t.Fatalf("from %+v to day %#x at %d: %d s, want %d", from, day, target, got, want)
				}
			}
		}
	}
}
