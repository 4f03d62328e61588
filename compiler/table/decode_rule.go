package table

func (r *reader) rule(number int) Rule {
	var rule Rule
	r.start = r.pos
	b := r.u8()
	rule.Weekdays = uint8(b) >> 1
	r.noteOf("rule", number, "WEEKDAYS", "%s", weekdayNames(rule.Weekdays))
	for last := 0; b&RuleMore != 0 && r.err == nil; {
		b = r.u8()
		code := b &^ RuleMore
		op := opOf(code)
		if op == nil {
			r.fail("opcode", "%02X is none", code)
			break
		}
		if code <= last {
			r.fail("opcode", "%02X after %02X: terms stand in ascending order", code, last)
			break
		}
		last = code
		r.term(&rule, op)
		r.noteTerm(&rule, number, code)
	}
	return rule
}

// operands reads what a term has.
func (r *reader) operands(op *Op) []value {
	values := make([]value, len(op.Operands))
	for i := range op.Operands {
		values[i] = r.read(&op.Operands[i])
		if op.Code == opSetPos && i == 0 {
			r.work += Period(values[0].n >> periodShift & 3).work(r.pos - r.start)
		}
	}
	return values
}

// term puts a term into the rule, where it is as [Rule] has it.
func (r *reader) term(rule *Rule, op *Op) {
	v := r.operands(op)
	if r.err != nil {
		return
	}
	switch op.Code {
	case opEveryDays:
		rule.EveryDays = r.every(v, 1, 1, epochDays)
	case opEveryWeeks:
		rule.EveryWeeks = r.every(v, 7, 1, epochDays)
	case opEveryMonth:
		rule.EveryMonth = r.every(v, 1, 1, epochMonths)
	case opEveryYears:
		rule.EveryYears = r.every(v, 12, 12, epochMonths)
	case opMonths:
		rule.Months = uint16(v[0].n)
	case opDayMask:
		rule.MonthDays.FromStart = v[0].n
	case opDayList:
		r.monthDays(rule, v[0].list)
	case opNthOfMonth:
		rule.NthOfMonth = r.nths(v[0].list)
	case opNthOfYear:
		rule.NthOfYear = r.nths(v[0].list)
	case opYearDays:
		rule.YearDays = signedList(v[0].list)
	case opWeeks:
		rule.Weeks = &Weeks{WeekStart: r.weekStart(v[0].n, 1<<weekStartShift-1), Every: r.every(v[1:], 1, 1, epochYears), Numbers: signedList(v[3].list)}
	case opSetPos:
		rule.SetPos = &SetPos{Period: Period(v[0].n >> periodShift & 3), WeekStart: r.weekStart(v[0].n, 1), Positions: signedList(v[1].list)}
	default:
		bound(rule, op.Code, v)
	}
}

// bound puts in a term that positions do not see.
func bound(rule *Rule, code int, v []value) {
	switch code {
	case opFrom:
		rule.From = Day(v[0].n - epochDays)
	case opUntil:
		rule.Until, rule.HasUntil = Day(v[0].n-1-epochDays), true
	case opExcept:
		rule.Except = dates(v[0].list)
	case opUTC:
		rule.UTC = true
	case opDates:
		rule.Dates = dates(v[0].list)
	}
}

// every takes a period of n units and a shift; the phase is given in others.
func (r *reader) every(v []value, unit, phase, epoch uint32) Every {
	p, first := r.cycle(v[0].n, v[1].n, epoch)
	if p%unit != 0 || first%phase != 0 {
		r.fail("period", "period %d, phase %d: not in units of %d", p, first, unit)
	}
	return Every{p / unit, first / phase}
}

// weekStart is the first day of the week, above bits of which some must be 0.
func (r *reader) weekStart(b, zero uint32) int {
	if b&zero != 0 {
		r.fail("weekstart", "%02X has bits that stand for nothing", b)
	}
	return int(b >> weekStartShift)
}

func (r *reader) monthDays(rule *Rule, list []uint32) {
	if rule.MonthDays != (MonthDays{}) {
		r.fail("opcode", "days of the month are given twice")
	}
	for _, d := range signedList(list) {
		if d > 0 {
			rule.MonthDays.FromStart |= 1 << (d - 1)
		} else {
			rule.MonthDays.FromEnd |= 1 << (-d - 1)
		}
	}
}

func signedList(codes []uint32) []int {
	list := make([]int, len(codes))
	for i, code := range codes {
		list[i] = signedOf(code)
	}
	return list
}

func (r *reader) nths(codes []uint32) []Nth {
	list := make([]Nth, len(codes))
	for i, code := range codes {
		list[i] = Nth{signedOf(code >> nthShift), int(code&(1<<nthShift-1)) - 1}
		if list[i].Weekday < 0 {
			r.fail("weekdays", "entry %d has no weekday", code)
		}
	}
	return list
}

func dates(codes []uint32) []Day {
	days := make([]Day, len(codes))
	for i, n := range codes {
		days[i] = Day(n - epochDays)
	}
	return days
}
