package table

func (c *checker) rule(r *Rule) {
	c.count("END weekdays", int(r.Weekdays), 1, int(AnyWeekday))
	c.count("FROM", int(r.From), 0, int(MaxDay))
	c.count("UNTIL", int(r.Until), 0, int(MaxDay))
	c.every("EVERY_DAYS", r.EveryDays, 1)
	c.every("EVERY_WEEKS", r.EveryWeeks, 7)
	c.every("EVERY_MONTHS", r.EveryMonth, 1)
	c.every("EVERY_YEARS", r.EveryYears, 1)
	c.count("MONTHS", int(r.Months), 0, 1<<12-1)
	c.count("days of the month", int(r.MonthDays.FromStart), 0, 1<<31-1)
	c.count("days of the month", int(r.MonthDays.FromEnd), 0, 1<<31-1)
	c.nths("NTH_OF_MONTH", r.NthOfMonth, 5)
	c.nths("NTH_OF_YEAR", r.NthOfYear, 53)
	c.numbers("YEAR_DAYS", r.YearDays, 366)
	c.weeks(r.Weeks)
	c.setPos(r)
	c.dates("DATES", r.Dates)
	c.dates("EXCEPT", r.Except)
}

func (c *checker) every(field string, e Every, unit uint32) {
	if e == (Every{}) {
		return
	}
	c.count(field+" n", int(e.N), 1, maxVarint/12) // years are written as months
	c.count(field+" phase", int(e.Phase), 0, int(e.N*unit)-1)
}

func (c *checker) nths(field string, list []Nth, most int) {
	c.count(field+" count", len(list), 0, 255)
	for _, n := range list {
		c.count(field+" n", n.N, -most, most)
		c.count(field+" weekday", n.Weekday, 0, 6)
	}
}

func (c *checker) numbers(field string, list []int, most int) {
	c.count(field+" count", len(list), 0, 255)
	for _, n := range list {
		c.count(field, n, -most, most)
		if n == 0 {
			c.fail(field, "0 is not a position")
		}
	}
}

func (c *checker) weeks(k *Weeks) {
	if k == nil {
		return
	}
	c.count("WEEKS weekstart", k.WeekStart, 0, 6)
	c.every("WEEKS", k.Every, 1)
	c.count("WEEKS n", int(k.Every.N), 1, maxVarint/12)
	c.count("WEEKS count", len(k.Numbers), 1, 255)
	c.numbers("WEEKS", k.Numbers, 53)
}

func (c *checker) setPos(r *Rule) {
	s := r.SetPos
	if s == nil {
		return
	}
	c.count("SET_POS period", int(s.Period), 0, int(PeriodWeekYear))
	c.count("SET_POS weekstart", s.WeekStart, 0, 6)
	c.count("SET_POS count", len(s.Positions), 1, 255)
	c.numbers("SET_POS position", s.Positions, 366)
}

func (c *checker) dates(field string, days []Day) {
	for i, d := range days {
		if d > MaxDay || i > 0 && d <= days[i-1] {
			c.fail(field, "day %d: dates ascend and end with %d", d, MaxDay)
			return
		}
	}
}

// searchWork checks that a feeder finds its next serving within a second.
func (c *checker) searchWork(rules []Rule) {
	if n := SearchWork(rules); n > MaxSearchWork {
		c.fail("SET_POS", "rules with positions are %d steps of search, a feeder takes at most %d: use fewer of them, or shorter lists of days and weeks beside them", n, MaxSearchWork)
	}
}

// SearchWork returns the steps, of about 150 cycles, that a feeder's search takes to count the rules with positions: at a turn
// of the period it reads the rule for each date of two of them. Counted from the firmware's machine code.
func SearchWork(rules []Rule) (steps int) {
	for i := range rules {
		if r := &rules[i]; r.SetPos != nil {
			steps += 2 * r.SetPos.Period.days() * readingWork(r)
		}
	}
	return steps
}

// readingWork is the steps of one reading of the terms that positions see.
func readingWork(r *Rule) int {
	work := 7
	for _, e := range []Every{r.EveryDays, r.EveryWeeks, r.EveryMonth, r.EveryYears} {
		if e.N > 0 {
			work += 8
		}
	}
	if r.Months > 0 {
		work += 4
	}
	days := len(r.MonthDays.List())
	if r.MonthDays.masked() {
		days = 4
	}
	for _, entries := range []int{days, len(r.YearDays), len(r.NthOfMonth), len(r.NthOfYear)} {
		if entries > 0 {
			work += 4 + entries
		}
	}
	if r.Weeks != nil {
		work += 22 + len(r.Weeks.Numbers)
	}
	return work
}

// days returns the most days of a period.
func (p Period) days() int {
	switch p {
	case PeriodWeek:
		return 7
	case PeriodMonth:
		return 31
	case PeriodYear:
		return 366
	}
	return 371
}
