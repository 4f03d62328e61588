package table

import "math/bits"

// EncodeRule returns the bytes of one day rule. The rule must be valid.
func EncodeRule(r *Rule) []byte {
	w := &writer{}
	w.rule(r)
	return w.b
}

// rule writes the weekdays and the terms, each announced by the one before.
func (w *writer) rule(r *Rule) {
	w.start, w.last = len(w.b), len(w.b)
	w.u8(int(r.Weekdays) << 1)
	w.everies(r)
	if r.MonthDays.masked() {
		w.term(opDayMask, number(r.MonthDays.FromStart))
	}
	w.places(r)
	if r.From != 0 {
		w.term(opFrom, number(dayNumber(r.From)))
	}
	if r.HasUntil {
		w.term(opUntil, number(dayNumber(r.Until)+1))
	}
	w.listed(opExcept, dayNumbers(r.Except))
	if r.UTC {
		w.term(opUTC)
	}
	w.listed(opDates, dayNumbers(r.Dates))
}

// term writes an opcode and its operands.
func (w *writer) term(code int, values ...value) {
	w.b[w.last] |= RuleMore
	w.last = len(w.b)
	w.u8(code)
	for i, v := range values {
		w.write(&opOf(code).Operands[i], v)
		if code == opSetPos && i == 0 {
			w.work += Period(v.n >> periodShift & 3).work(len(w.b) - w.start)
		}
	}
}

// listed writes a term that is a list, unless it is empty.
func (w *writer) listed(code int, v value) {
	if len(v.list) > 0 {
		w.term(code, v)
	}
}

func (w *writer) everies(r *Rule) {
	for _, c := range []struct {
		op          int
		every       Every
		unit, phase uint32 // of n and phase
		epoch       uint32
	}{
		{opEveryDays, r.EveryDays, 1, 1, epochDays},
		{opEveryWeeks, r.EveryWeeks, 7, 1, epochDays},
		{opEveryMonth, r.EveryMonth, 1, 1, epochMonths},
		{opEveryYears, r.EveryYears, 12, 12, epochMonths},
	} {
		if c.every.N != 0 {
			w.term(c.op, cycleOf(c.every.N*c.unit, c.every.Phase*c.phase, c.epoch)...)
		}
	}
}

func (w *writer) places(r *Rule) {
	if r.Months != 0 {
		w.term(opMonths, number(uint32(r.Months)))
	}
	if !r.MonthDays.masked() {
		w.listed(opDayList, places(r.MonthDays.List()))
	}
	w.listed(opYearDays, places(r.YearDays))
	w.listed(opNthOfMonth, weekdayList(r.NthOfMonth))
	w.listed(opNthOfYear, weekdayList(r.NthOfYear))
	if k := r.Weeks; k != nil {
		every := cycleOf(k.Every.N, k.Every.Phase, epochYears)
		w.term(opWeeks, number(uint32(k.WeekStart)<<weekStartShift), every[0], every[1], places(k.Numbers))
	}
	if s := r.SetPos; s != nil {
		w.term(opSetPos, number(uint32(s.WeekStart)<<weekStartShift|uint32(s.Period)<<periodShift), places(s.Positions))
	}
}

// masked reports whether the days are a mask, because a list of them is longer.
func (d MonthDays) masked() bool {
	return d.FromEnd == 0 && bits.OnesCount32(d.FromStart) >= (bits.Len32(d.FromStart)+6)/7 && d.FromStart != 0
}

// List gives the days in the order 1 to 31, -1 to -31.
func (d MonthDays) List() []int {
	var list []int
	for n := 1; n <= 31; n++ {
		if d.FromStart>>(n-1)&1 != 0 {
			list = append(list, n)
		}
	}
	for n := 1; n <= 31; n++ {
		if d.FromEnd>>(n-1)&1 != 0 {
			list = append(list, -n)
		}
	}
	return list
}
