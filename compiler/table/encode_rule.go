package table

// EncodeRule returns the bytes of one day rule. The rule must be valid.
func EncodeRule(r *Rule) []byte {
	w := &writer{}
	w.rule(r)
	return w.b
}

func (w *writer) rule(r *Rule) {
	w.bounds(r)
	w.everies(r)
	if r.Months != 0 {
		w.u8(opMonths)
		w.u16(r.Months)
	}
	w.monthDays(r.MonthDays)
	w.nths(r)
	w.yearDays(r.YearDays)
	w.weeks(r.Weeks)
	w.setPos(r.SetPos)
	w.dates(opDates, r.Dates)
	w.dates(opExcept, r.Except)
	w.u8(opEnd | int(r.Weekdays))
}

func (w *writer) bounds(r *Rule) {
	if r.UTC {
		w.u8(opUTC)
	}
	if r.From != 0 {
		w.u8(opFrom)
		w.u16(uint16(r.From))
	}
	if r.HasUntil {
		w.u8(opUntil)
		w.u16(uint16(r.Until))
	}
}

func (w *writer) everies(r *Rule) {
	for i, e := range []Every{r.EveryDays, r.EveryWeeks, r.EveryMonth, r.EveryYears} {
		if e.N != 0 {
			w.u8(opEveryDays + i)
			w.every(e)
		}
	}
}

// monthDays chooses the shortest of a list, one mask and two.
func (w *writer) monthDays(d MonthDays) {
	if d == (MonthDays{}) {
		return
	}
	list := d.List()
	switch {
	case d.FromEnd == 0 && len(list) > 3:
		w.u8(opDayMask)
		w.u32(d.FromStart)
	case len(list) > 7:
		w.u8(opDayMasks)
		w.u32(d.FromStart)
		w.u32(d.FromEnd)
	default:
		w.u8(opDayList)
		w.u8(len(list))
		for _, n := range list {
			w.u8(n)
		}
	}
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

func (w *writer) nths(r *Rule) {
	if len(r.NthOfMonth) > 0 {
		w.u8(opNthOfMonth)
		w.u8(len(r.NthOfMonth))
		for _, n := range r.NthOfMonth {
			w.u8((n.N+5)<<3 | n.Weekday)
		}
	}
	if len(r.NthOfYear) > 0 {
		w.u8(opNthOfYear)
		w.u8(len(r.NthOfYear))
		for _, n := range r.NthOfYear {
			w.u8(n.N)
			w.u8(n.Weekday)
		}
	}
}

func (w *writer) yearDays(days []int) {
	if len(days) == 0 {
		return
	}
	w.u8(opYearDays)
	w.u8(len(days))
	for _, d := range days {
		w.u16(uint16(d))
	}
}

func (w *writer) weeks(k *Weeks) {
	if k == nil {
		return
	}
	w.u8(opWeeks)
	w.u8(k.WeekStart)
	w.every(k.Every)
	w.u8(len(k.Numbers))
	for _, n := range k.Numbers {
		w.u8(n)
	}
}

func (w *writer) setPos(s *SetPos) {
	if s == nil {
		return
	}
	w.u8(opSetPos)
	w.u8(int(s.Period)<<4 | s.WeekStart)
	w.u8(len(s.Positions))
	for _, p := range s.Positions {
		w.signed(p)
	}
}

func (w *writer) dates(op int, days []Day) {
	if len(days) == 0 {
		return
	}
	w.u8(op)
	w.number(uint32(len(days)))
	w.u16(uint16(days[0]))
	for i := 1; i < len(days); i++ {
		w.number(uint32(days[i] - days[i-1]))
	}
}
