package table

// DecodeRule reads one day rule from the front of b.
func DecodeRule(b []byte) (Rule, error) {
	r := &reader{b: b}
	rule := r.rule(1)
	if r.err == nil {
		c := &checker{}
		c.rule(&rule)
		r.err = c.err
	}
	return rule, r.err
}

func (r *reader) rule(number int) Rule {
	var rule Rule
	for last := 0; r.err == nil; {
		op := r.u8()
		if op >= opEnd {
			rule.Weekdays = uint8(op &^ opEnd)
			r.noteOf("rule", number, "END", "%s", weekdayNames(rule.Weekdays))
			break
		}
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
	case opUTC: // UTC → dates and times are UTC
		rule.UTC = true
	case opFrom: // FROM day → day and after
		rule.From = r.day()
	case opUntil: // UNTIL day → day and before
		rule.Until, rule.HasUntil = r.day(), true
	case opEveryDays: // n phase → one day in n
		rule.EveryDays = r.every()
	case opEveryWeeks: // n phase → seven days in 7n, from day number phase
		rule.EveryWeeks = r.every()
	case opEveryMonth: // n phase → one month in n
		rule.EveryMonth = r.every()
	case opEveryYears: // n phase → one year in n
		rule.EveryYears = r.every()
	case opMonths: // mask → months of the year
		if rule.Months = r.u16(); rule.Months == 0 {
			r.fail("MONTHS", "no month at all")
		}
	case opDayList, opDayMask, opDayMasks: // days of the month
		r.monthDays(rule, op)
	case opNthOfMonth: // n weekday … → n-th weekday of the month
		rule.NthOfMonth = r.nthOfMonth()
	case opNthOfYear: // n weekday … → n-th weekday of the year
		rule.NthOfYear = r.nthOfYear()
	case opYearDays: // day … → days of the year
		for n := r.u8(); n > 0 && r.err == nil; n-- {
			rule.YearDays = append(rule.YearDays, int(int16(r.u16())))
		}
		r.notEmpty("YEAR_DAYS", len(rule.YearDays))
	case opWeeks: // weekstart n phase week … → days of numbered weeks
		rule.Weeks = r.weeks()
	case opSetPos: // period positions → some of what the other terms give
		rule.SetPos = r.setPos()
	case opDates: // date … → those dates
		rule.Dates = r.dates()
	case opExcept: // date … → all other dates
		rule.Except = r.dates()
	default:
		r.fail("opcode", "%02X is none", op)
	}
}

func (r *reader) monthDays(rule *Rule, op int) {
	if rule.MonthDays != (MonthDays{}) {
		r.fail("opcode", "days of the month are given twice")
	}
	switch op {
	case opDayMask:
		rule.MonthDays.FromStart = r.u32()
	case opDayMasks:
		rule.MonthDays.FromStart = r.u32()
		rule.MonthDays.FromEnd = r.u32()
	default:
		for n := r.u8(); n > 0 && r.err == nil; n-- {
			r.monthDay(rule, r.i8())
		}
	}
	if rule.MonthDays == (MonthDays{}) {
		r.fail(opName(op), "no day at all")
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

func (r *reader) nthOfMonth() (list []Nth) {
	for n := r.u8(); n > 0 && r.err == nil; n-- {
		b := r.u8()
		list = append(list, Nth{b>>3 - 5, b & 7})
	}
	r.notEmpty("NTH_OF_MONTH", len(list))
	return list
}

func (r *reader) nthOfYear() (list []Nth) {
	for n := r.u8(); n > 0 && r.err == nil; n-- {
		k := r.i8()
		list = append(list, Nth{k, r.u8()})
	}
	r.notEmpty("NTH_OF_YEAR", len(list))
	return list
}

func (r *reader) notEmpty(field string, n int) {
	if n == 0 {
		r.fail(field, "an empty list")
	}
}

func (r *reader) weeks() *Weeks {
	k := &Weeks{WeekStart: r.u8(), Every: r.every()}
	for n := r.u8(); n > 0 && r.err == nil; n-- {
		k.Numbers = append(k.Numbers, r.i8())
	}
	return k
}

func (r *reader) setPos() *SetPos {
	b := r.u8()
	s := &SetPos{Period: Period(b >> 4), WeekStart: b & 0xF}
	for n := r.u8(); n > 0 && r.err == nil; n-- {
		s.Positions = append(s.Positions, r.signed())
	}
	return s
}

func (r *reader) dates() (days []Day) {
	n := int(r.number())
	if n == 0 || n > len(r.b) {
		r.fail("dates", "%d dates in %d bytes", n, len(r.b))
		return nil
	}
	day := int(r.day())
	days = append(days, Day(day))
	for ; n > 1 && r.err == nil; n-- {
		if day += int(r.number()); day > int(MaxDay) {
			r.fail("dates", "a date after 2099")
		}
		days = append(days, Day(day))
	}
	return days
}
