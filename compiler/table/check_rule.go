package table

func (c *checker) rule(r *Rule) {
	c.count("WEEKDAYS", int(r.Weekdays), 1, int(AnyWeekday))
	c.count("FROM", int(r.From), 0, int(MaxDay))
	c.count("UNTIL", int(r.Until), 0, int(MaxDay))
	c.every("EVERY_DAYS", r.EveryDays, 1, 1)
	c.every("EVERY_WEEKS", r.EveryWeeks, 7, 7)
	c.every("EVERY_MONTHS", r.EveryMonth, 1, 1)
	c.every("EVERY_YEARS", r.EveryYears, 12, 1)
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

// every checks a period that is written in so many units, its phase in others.
func (c *checker) every(field string, e Every, unit, phase int) {
	if e == (Every{}) {
		return
	}
	c.count(field+" n", int(e.N), 1, MaxPeriod/unit)
	c.count(field+" phase", int(e.Phase), 0, int(e.N)*phase-1)
}

func (c *checker) nths(field string, list []Nth, most int) {
	for _, n := range list {
		c.count(field+" n", n.N, -most, most)
		c.count(field+" weekday", n.Weekday, 0, 6)
	}
}

func (c *checker) numbers(field string, list []int, most int) {
	for _, n := range list {
		c.count(field, n, -most, most)
		if n == 0 {
			c.fail(field, "0 is not a position")
		}
	}
}

func (c *checker) some(field string, list []int) {
	if len(list) == 0 {
		c.fail(field, "an empty list")
	}
}

func (c *checker) weeks(k *Weeks) {
	if k == nil {
		return
	}
	c.count("WEEKS weekstart", k.WeekStart, 0, 6)
	c.count("WEEKS n", int(k.Every.N), 1, MaxPeriod)
	c.every("WEEKS", k.Every, 1, 1)
	c.some("WEEKS", k.Numbers)
	c.numbers("WEEKS", k.Numbers, 53)
}

func (c *checker) setPos(r *Rule) {
	s := r.SetPos
	if s == nil {
		return
	}
	c.count("SET_POS period", int(s.Period), 0, int(PeriodWeekYear))
	c.count("SET_POS weekstart", s.WeekStart, 0, 6)
	c.some("SET_POS", s.Positions)
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
func (c *checker) searchWork(work int) {
	if work > MaxSearchWork {
		c.fail("SET_POS", "rules with positions are %d steps of search, a feeder takes at most %d: use fewer of them, or shorter lists of days and weeks beside them", work, MaxSearchWork)
	}
}

// SearchWork returns the steps that a feeder's search takes to count the rules with positions: at a turn of the period it reads the rule
// for each date of two of them. It is bounded by [MaxSearchWork].
func SearchWork(rules []Rule) (work int) {
	for i := range rules {
		if rules[i].SetPos != nil {
			w := &writer{}
			w.rule(&rules[i])
			work += w.work
		}
	}
	return work
}

// work is what the positions of a rule cost of which so many bytes stand before its positions.
func (p Period) work(bytes int) int {
	switch p {
	case PeriodWeek:
		return bytes
	case PeriodMonth:
		return bytes * workMonth
	}
	return bytes * workYear
}
