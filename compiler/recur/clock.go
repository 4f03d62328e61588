package recur

import (
	"slices"

	"mealtab/compiler/plan"
)

// clock steps the periods of HOURLY, MINUTELY and SECONDLY in nominal local time. Index counts hours, minutes or
// seconds since 1970-01-01T00:00:00.
type clock struct {
	unit     int64 // seconds of one period
	perDay   int64 // periods of a day
	first    int64 // index of DTSTART's period
	interval int64
	index    int64 // the next active period
	// slots are the periods of a day that BYHOUR, BYMINUTE and BYSECOND let pass and that the interval
	// can ever reach, ascending; nil: all are.
	slots   []int64
	limited bool
	barren  bool  // no period has an instance
	day     int64 // the day last tested
	dayOK   bool
}

func newClock(r *rule, start int64) *clock {
	unit := map[plan.Freq]int64{plan.Hourly: 3600, plan.Minutely: 60, plan.Secondly: 1}[r.freq]
	c := &clock{unit: unit, perDay: daySeconds / unit, interval: r.interval, first: floorDiv(start, unit)}
	c.index, c.day = c.first, c.first/c.perDay-2
	for _, p := range []part{byHour, byMinute, bySecond} {
		c.limited = c.limited || r.does(p, limit)
	}
	if !c.limited {
		return c
	}
	// From one day to the next the phase moves by a multiple of this; a slot that is off it never comes up, and
	// looking for it would take until the end of time.
	reach := gcd(r.interval, c.perDay)
	for slot := range c.perDay {
		second := slot * unit
		if floorMod(slot-c.first, reach) == 0 &&
			(!r.does(byHour, limit) || r.allows(byHour, int(second/3600))) &&
			(!r.does(byMinute, limit) || r.allows(byMinute, int(second/60%60))) &&
			(!r.does(bySecond, limit) || r.allows(bySecond, int(second%60))) {
			c.slots = append(c.slots, slot)
		}
	}
	c.barren = len(c.slots) == 0
	return c
}

// appendNext appends the start of the next active period that passes the filters. It reports false when there is
// none up to End.
func (c *clock) appendNext(bases []int64, g *generator) ([]int64, bool) {
	if c.barren {
		return bases, false
	}
	for c.index <= End/c.unit {
		day := floorDiv(c.index, c.perDay)
		if day != c.day {
			c.day, c.dayOK = day, g.limitDay(day)
		}
		if !c.dayOK {
			c.advanceTo((day + 1) * c.perDay)
			continue
		}
		if slot := c.nextSlot(c.index - day*c.perDay); slot > c.index-day*c.perDay {
			c.advanceTo(day*c.perDay + slot)
			continue
		}
		bases = append(bases, c.index*c.unit)
		c.index += c.interval
		return bases, true
	}
	return bases, false
}

// nextSlot is the first slot from slot on that may pass; it may lie on the next day.
func (c *clock) nextSlot(slot int64) int64 {
	if !c.limited {
		return slot
	}
	i, _ := slices.BinarySearch(c.slots, slot)
	if i < len(c.slots) {
		return c.slots[i]
	}
	return c.perDay + c.slots[0]
}

// advanceTo goes to the first active period from index on.
func (c *clock) advanceTo(index int64) {
	steps := (index - c.first + c.interval - 1) / c.interval
	c.index = c.first + steps*c.interval
}
