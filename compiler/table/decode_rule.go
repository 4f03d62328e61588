package table

func (r *reader) rule(number int) Rule {
	var rule Rule
	r.start = r.pos
	b := r.u8()
	rule.Weekdays = uint8(b) >> 1
	r.noteOf("rule", number, "WEEKDAYS", "%s", weekdayNames(rule.Weekdays))
	for last := 0; b&RuleMore != 0 && r.err == nil; {
		b = r.u8()
		op := b &^ RuleMore
		if op <= last {
			r.fail("opcode", "%02X after %02X: terms stand in ascending order", op, last)
			break
		}
		last = op
		r.term(&rule, op)
		r.noteTerm(&rule, number, op)
	}
	return rule
}

func (r *reader) term(rule *Rule, op int) {
	switch op {
	case opEveryDays: // n shift → one day in n
		rule.EveryDays = r.every(1, 1, epochDays)
	case opEveryWeeks: // 7n shift → seven days in 7n
		rule.EveryWeeks = r.every(7, 1, epochDays)
	case opEveryMonth: // n shift → one month in n
		rule.EveryMonth = r.every(1, 1, epochMonths)
	case opEveryYears: // 12n shift → one year in n
		rule.EveryYears = r.every(12, 12, epochMonths)
	case opMonths: // mask → months of the year
		if rule.Months = uint16(min(r.number(), 1<<12)); rule.Months == 0 || rule.Months == 1<<12 {
			r.fail("MONTHS", "a mask of the twelve months, of one at least")
		}
	case opDayMask, opDayList: // days of the month
		r.monthDays(rule, op)
	case opNthOfMonth: // n weekday … → n-th weekday of the month
		rule.NthOfMonth = r.nths("NTH_OF_MONTH", maxNthOfMonth)
	case opNthOfYear: // n weekday … → n-th weekday of the year
		rule.NthOfYear = r.nths("NTH_OF_YEAR", maxNthOfYear)
	case opYearDays: // day … → days of the year
		rule.YearDays = r.signedList("YEAR_DAYS", maxYearDay)
	case opWeeks: // weekstart n shift week … → days of numbered weeks
		start := r.u8()
		rule.Weeks = &Weeks{WeekStart: start >> weekStartShift, Every: r.every(1, 1, epochYears), Numbers: r.signedList("WEEKS", maxWeek)}
		if start&(1<<weekStartShift-1) != 0 {
			r.fail("WEEKS weekstart", "%02X has bits below the weekday", start)
		}
	case opSetPos: // period positions → some of what the terms before give
		rule.SetPos = r.setPos()
	default:
		r.bound(rule, op)
	}
}

// bound reads a term that positions do not see.
func (r *reader) bound(rule *Rule, op int) {
	switch op {
	case opFrom: // FROM day → day and after
		rule.From = r.dayAfter(epochDays)
	case opUntil: // UNTIL day → before the day
		rule.Until, rule.HasUntil = r.dayAfter(epochDays+1), true
	case opExcept: // date … → all other dates
		rule.Except = r.dates()
	case opUTC: // UTC → dates and times are UTC
		rule.UTC = true
	case opDates: // date … → those dates
		rule.Dates = r.dates()
	default:
		r.fail("opcode", "%02X is none", op)
	}
}

func (r *reader) dayAfter(epoch uint16) Day {
	n := r.u16()
	if n < epoch {
		r.fail("day", "number %d lies before 2000", n)
	}
	return Day(n - epoch)
}

// every reads a period of n units; the phase is given in others.
func (r *reader) every(unit, phase, epoch uint32) Every {
	p, first := r.cycle(MaxPeriod, epoch)
	if p%unit != 0 || first%phase != 0 {
		r.fail("every", "period %d, phase %d: not in units of %d", p, first, unit)
	}
	return Every{p / unit, first / phase}
}

func (r *reader) monthDays(rule *Rule, op int) {
	if rule.MonthDays != (MonthDays{}) {
		r.fail("opcode", "days of the month are given twice")
	}
	if op == opDayMask {
		if rule.MonthDays.FromStart = r.number(); rule.MonthDays.FromStart == 0 {
			r.fail("DAY_MASK", "no day at all")
		}
		return
	}
	for _, d := range r.signedList("DAY_LIST", maxMonthDay) {
		r.monthDay(rule, d)
	}
}

func (r *reader) monthDay(rule *Rule, d int) {
	switch {
	case 1 <= d && d <= 31:
		rule.MonthDays.FromStart |= 1 << (d - 1)
	case -31 <= d && d <= -1:
		rule.MonthDays.FromEnd |= 1 << (-d - 1)
	default:
		r.fail("DAY_LIST", "day %d is outside 1 to 31 and -31 to -1", d)
	}
}

func (r *reader) signedList(field string, most uint32) (list []int) {
	for _, code := range r.entries(field, most) {
		list = append(list, signedOf(code))
	}
	return list
}

func (r *reader) nths(field string, most uint32) (list []Nth) {
	for _, code := range r.entries(field, most) {
		if code&(1<<nthShift-1) == 0 {
			r.fail(field, "entry %d has no weekday", code)
		}
		list = append(list, Nth{signedOf(code >> nthShift), int(code&(1<<nthShift-1)) - 1})
	}
	return list
}

func (r *reader) setPos() *SetPos {
	b := r.u8()
	if b&1 != 0 {
		r.fail("SET_POS period", "%02X has a bit below the period", b)
	}
	period := Period(b >> periodShift & 3)
	r.work += period.work(r.pos - r.start)
	return &SetPos{Period: period, WeekStart: b >> weekStartShift, Positions: r.signedList("SET_POS", maxPosition)}
}

func (r *reader) dates() (days []Day) {
	for _, n := range r.entries("dates", epochDays+uint32(MaxDay)) {
		if n < epochDays {
			r.fail("dates", "day number %d lies before 2000", n)
			return nil
		}
		days = append(days, Day(n-epochDays))
	}
	return days
}
