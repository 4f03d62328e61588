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
	w.monthDays(r.MonthDays)
	w.places(r)
	w.bounds(r)
	w.dates(opExcept, r.Except)
	if r.UTC {
		w.term(opUTC)
	}
	w.dates(opDates, r.Dates)
}

func (w *writer) term(op int) {
	w.b[w.last] |= RuleMore
	w.last = len(w.b)
	w.u8(op)
}

func (w *writer) bounds(r *Rule) {
	if r.From != 0 {
		w.term(opFrom)
		w.u16(uint16(r.From) + epochDays)
	}
	if r.HasUntil {
		w.term(opUntil)
		w.u16(uint16(r.Until) + 1 + epochDays)
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
			w.term(c.op)
			w.cycle(c.every.N*c.unit, c.every.Phase*c.phase, c.epoch)
		}
	}
}

func (w *writer) monthDays(d MonthDays) {
	if d.masked() {
		w.term(opDayMask)
		w.number(d.FromStart)
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

func (w *writer) places(r *Rule) {
	if r.Months != 0 {
		w.term(opMonths)
		w.number(uint32(r.Months))
	}
	if !r.MonthDays.masked() {
		w.numbers(opDayList, r.MonthDays.List())
	}
	w.numbers(opYearDays, r.YearDays)
	w.nths(opNthOfMonth, r.NthOfMonth)
	w.nths(opNthOfYear, r.NthOfYear)
	if k := r.Weeks; k != nil {
		w.term(opWeeks)
		w.u8(k.WeekStart << weekStartShift)
		w.cycle(k.Every.N, k.Every.Phase, epochYears)
		w.signedList(k.Numbers)
	}
	if s := r.SetPos; s != nil {
		w.term(opSetPos)
		w.u8(s.WeekStart<<weekStartShift | int(s.Period)<<periodShift)
		w.work += s.Period.work(len(w.b) - w.start)
		w.signedList(s.Positions)
	}
}

func (w *writer) numbers(op int, list []int) {
	if len(list) > 0 {
		w.term(op)
		w.signedList(list)
	}
}

func (w *writer) signedList(list []int) {
	codes := make([]uint32, len(list))
	for i, n := range list {
		codes[i] = signedCode(n)
	}
	w.list(codes)
}

func (w *writer) nths(op int, list []Nth) {
	if len(list) == 0 {
		return
	}
	codes := make([]uint32, len(list))
	for i, n := range list {
		codes[i] = signedCode(n.N)<<nthShift | uint32(n.Weekday+1)
	}
	w.term(op)
	w.list(codes)
}

func (w *writer) dates(op int, days []Day) {
	if len(days) == 0 {
		return
	}
	codes := make([]uint32, len(days))
	for i, d := range days {
		codes[i] = uint32(d) + epochDays
	}
	w.term(op)
	w.list(codes)
}
