package lower

import (
	"math"
	"slices"

	"mealtab/compiler/plan"
	"mealtab/compiler/table"
)

// residue is the set of nominal minutes that are phase modulo period, counted from 2000-01-01T00:00.
type residue struct{ period, phase int64 }

// stepRules are the pieces of a SECONDLY, MINUTELY or HOURLY rule, before bounds and exceptions.
func stepRules(set *plan.Recurrence) []piece {
	r := set.Rule
	rules, _ := dayRules(r, 0)
	if rules == nil {
		return nil
	}
	hours := hourMask(r.ByHour)
	var pieces []piece
	for _, c := range residues(set) {
		pieces = addResidue(pieces, rules[0], c, hours)
	}
	return pieces
}

// residues are the steps of the rule with BYMINUTE and BYSETPOS applied.
func residues(set *plan.Recurrence) (list []residue) {
	r := set.Rule
	start := int64(dayNumber(set.Start))*table.MinutesPerDay + int64(minuteOfDay(set.Start))
	if r.Freq == plan.Hourly {
		period := 60 * int64(r.Interval)
		hour := start - int64(set.Start.Minute)
		for _, m := range pick(orDefault(r.ByMinute, set.Start.Minute), r.BySetPos) {
			list = append(list, residue{period, (hour + int64(m)) % period})
		}
		return list
	}
	if r.BySetPos != nil && !slices.Contains(r.BySetPos, 1) && !slices.Contains(r.BySetPos, -1) {
		return nil // the set of a minute or a second has one member
	}
	base, ok := minuteSteps(r, start, int64(set.Start.Second))
	if !ok {
		return nil
	}
	if r.ByMinute == nil {
		return []residue{base}
	}
	for _, m := range r.ByMinute {
		if both, ok := base.and(residue{60, int64(m)}); ok {
			list = append(list, both)
		}
	}
	return list
}

// minuteSteps are the whole minutes that a MINUTELY or SECONDLY rule visits.
func minuteSteps(r *plan.Rule, startMinute, startSecond int64) (residue, bool) {
	if r.Freq == plan.Minutely {
		return residue{int64(r.Interval), startMinute % int64(r.Interval)}, true
	}
	n := int64(r.Interval)
	seconds := residue{n, (startMinute*60 + startSecond) % n}
	whole, ok := seconds.and(residue{60, 0})
	return residue{whole.period / 60, whole.phase / 60}, ok
}

// and is the intersection of two residue classes (Chinese remainder theorem); false: they never meet.
func (a residue) and(b residue) (residue, bool) {
	g := gcd(a.period, b.period)
	if (b.phase-a.phase)%g != 0 {
		return residue{}, false
	}
	lcm := a.period / g * b.period
	for phase := a.phase; phase < lcm; phase += a.period { // at most b.period/g steps, b.period is 60
		if phase%b.period == b.phase {
			return residue{lcm, phase}, true
		}
	}
	return residue{}, false
}

// pick applies BYSETPOS to the set of one period.
func pick(list, positions []int) (picked []int) {
	if positions == nil {
		return list
	}
	for _, p := range positions {
		if p < 0 {
			p += len(list) + 1
		}
		if 1 <= p && p <= len(list) && !slices.Contains(picked, list[p-1]) {
			picked = append(picked, list[p-1])
		}
	}
	slices.Sort(picked)
	return picked
}

func hourMask(hours []int) uint32 {
	if hours == nil {
		return table.AllHours
	}
	var mask uint32
	for _, h := range hours {
		mask |= 1 << h
	}
	return mask
}

// addResidue adds times of day where the period divides the day, one time where it is whole days, else a cycle.
func addResidue(pieces []piece, rule table.Rule, c residue, hours uint32) []piece {
	const day = table.MinutesPerDay
	switch {
	case day%c.period == 0:
		for m := c.phase % c.period; m < day; m += c.period {
			if hours>>(m/60)&1 != 0 {
				pieces = addTime(pieces, rule, uint16(m))
			}
		}
		return pieces
	case c.period%day == 0 && c.period/day <= math.MaxInt16:
		if m := c.phase % day; hours>>(m/60)&1 != 0 {
			rule.EveryDays = table.Every{N: uint32(c.period / day), Phase: uint32(c.phase / day)}
			return addTime(pieces, rule, uint16(m))
		}
		return pieces
	case c.period > longestCycle:
		if day := c.phase / day; day <= int64(table.MaxDay) && hours>>(c.phase%table.MinutesPerDay/60)&1 != 0 {
			rule.Dates = []table.Day{table.Day(day)} // it comes round once before 2100
			return addTime(pieces, rule, uint16(c.phase%table.MinutesPerDay))
		}
		return pieces
	}
	return append(pieces, piece{rule, table.Times{Cycle: &table.Cycle{Period: uint32(c.period), Phase: uint32(c.phase), Hours: hours}}})
}

// longestCycle is the length of the calendar in minutes: a longer cycle has one instance at most.
const longestCycle = int64(table.MaxDay+1) * table.MinutesPerDay

// cycleTimes are the minutes of one date that a cycle visits.
func cycleTimes(c *table.Cycle, day int) (list []uint16) {
	first := floorMod(int(c.Phase)-day*table.MinutesPerDay, int(c.Period))
	for m := first; m < table.MinutesPerDay; m += int(c.Period) {
		if c.Hours>>(m/60)&1 != 0 {
			list = append(list, uint16(m))
		}
	}
	return list
}
