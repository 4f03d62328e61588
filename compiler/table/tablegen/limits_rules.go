package tablegen

import (
	"fmt"

	"mealtab/compiler/table"
)

// rule adds a table whose only meal has a rule.
func (l *limits) rule(name string, change func(r *table.Rule)) {
	l.add(name, func(t *table.Table) {
		r := table.Everyday()
		change(&r)
		t.Rules, t.Meals[0].Parts[0].Rule = []table.Rule{r}, 1
	})
}

func (l *limits) rules() {
	for d := range 7 {
		l.rule(fmt.Sprintf("weekday %d", d), func(r *table.Rule) { r.Weekdays = 1 << d })
	}
	for _, term := range []struct {
		name        string
		unit, phase uint32
		set         func(*table.Rule, table.Every)
	}{
		{"days", 1, 1, func(r *table.Rule, e table.Every) { r.EveryDays = e }},
		{"weeks", 7, 7, func(r *table.Rule, e table.Every) { r.EveryWeeks = e }},
		{"months", 1, 1, func(r *table.Rule, e table.Every) { r.EveryMonth = e }},
		{"years", 12, 1, func(r *table.Rule, e table.Every) { r.EveryYears = e }},
		{"week-numbering years", 1, 1, func(r *table.Rule, e table.Every) {
			r.Weeks = &table.Weeks{Every: e, Numbers: []int{49, 50, 51}}
		}},
	} {
		for _, n := range []uint32{1, 2, 127, 128, 129, table.MaxPeriod / term.unit} {
			for _, phase := range []uint32{0, 1 % (n * term.phase), n*term.phase - 1} {
				l.rule(fmt.Sprintf("every %d %s at %d", n, term.name, phase), func(r *table.Rule) { term.set(r, table.Every{N: n, Phase: phase}) })
			}
		}
	}
	for _, mask := range []uint32{1, 0x7F, 0x80, 1 << 30, 1<<31 - 1} {
		l.rule(fmt.Sprintf("days of the month %08X", mask), func(r *table.Rule) { r.MonthDays.FromStart = mask })
		l.rule(fmt.Sprintf("days of the month %08X from the end", mask), func(r *table.Rule) { r.MonthDays.FromEnd = mask })
	}
	for _, mask := range []uint16{1, 0x7F, 0x80, 1 << 11, 1<<12 - 1} {
		l.rule(fmt.Sprintf("months %03X", mask), func(r *table.Rule) { r.Months = mask })
	}
	for _, day := range []table.Day{0, 1, today + 3, table.MaxDay} {
		l.rule("from "+day.String(), func(r *table.Rule) { r.From = day })
		l.rule("until "+day.String(), func(r *table.Rule) { r.Until, r.HasUntil = day, true })
		l.rule("on "+day.String(), func(r *table.Rule) { r.Dates = []table.Day{day} })
		l.rule("not on "+day.String(), func(r *table.Rule) { r.Except = []table.Day{day} })
	}
	l.rule("by UTC", func(r *table.Rule) { r.UTC = true })
}

func (l *limits) lists() {
	for _, n := range []int{1, 4, 5, 127, 128, 255, 350} {
		dates := make([]table.Day, n)
		for i := range dates {
			dates[i] = today + 2*table.Day(i)
		}
		l.rule(fmt.Sprintf("%d dates", n), func(r *table.Rule) { r.Dates = dates })
		l.rule(fmt.Sprintf("not on %d dates", n), func(r *table.Rule) { r.Except = dates })
		l.rule(fmt.Sprintf("%d days of the year", n), func(r *table.Rule) { r.YearDays = placesTo(366, n) })
		l.rule(fmt.Sprintf("%d weekdays of the year", n), func(r *table.Rule) { r.NthOfYear = nthsTo(53, n) })
		l.rule(fmt.Sprintf("%d positions", n), func(r *table.Rule) {
			r.SetPos = &table.SetPos{Period: table.PeriodYear, Positions: placesTo(366, n)}
		})
	}
	for _, n := range []int{1, 4, 5, 35} {
		l.rule(fmt.Sprintf("%d weekdays of the month", n), func(r *table.Rule) { r.NthOfMonth = nthsTo(5, n) })
	}
	for start := range 7 {
		for _, n := range []int{-53, -1, 1, 53} {
			l.rule(fmt.Sprintf("week %d from weekday %d", n, start), func(r *table.Rule) {
				r.Weeks = &table.Weeks{WeekStart: start, Every: table.Every{N: 1}, Numbers: []int{n}}
			})
		}
		for period := range table.PeriodWeekYear + 1 {
			l.rule(fmt.Sprintf("the first and the last of period %d from weekday %d", period, start), func(r *table.Rule) {
				r.Weekdays = 0x55
				r.SetPos = &table.SetPos{Period: period, WeekStart: start, Positions: []int{-1, 1}}
			})
		}
	}
}

// placesTo is the last n of the places of a set, from both ends, in the order of the format.
func placesTo(most, n int) (list []int) {
	for i := range n {
		place := most - (n-1-i)/2
		if (n-1-i)%2 == 1 {
			place = -place
		}
		list = append(list, place)
	}
	inOrder(&table.Rule{YearDays: list})
	return list
}

func nthsTo(most, n int) (list []table.Nth) {
	for i := range n {
		list = append(list, table.Nth{N: most - i/7, Weekday: 6 - i%7})
	}
	rule := table.Rule{NthOfYear: list}
	inOrder(&rule)
	return rule.NthOfYear
}

func (l *limits) spans() {
	for _, unit := range []table.Minute{15, 30, 60} {
		l.add(fmt.Sprintf("spans of %d min", unit), func(t *table.Table) {
			for i := range table.MaxGroups {
				g := table.OverrideGroup{Offset: int8(16 * i)}
				at := table.Minute(today)*table.MinutesPerDay + unit*table.Minute(1+24*i)
				for range 5 {
					g.Spans = append(g.Spans, table.Span{Start: at, End: at + unit})
					at += unit * (1 + table.MinSpanDistance)
				}
				t.Zone.Overrides = append(t.Zone.Overrides, g)
			}
			t.Meals[0].Parts[0].Times = table.Times{Cycle: &table.Cycle{Period: 60, Phase: 7, Hours: table.AllHours}}
		})
	}
	l.add("a span of all time", func(t *table.Table) {
		t.Zone.Overrides = []table.OverrideGroup{{Offset: 63, Spans: []table.Span{{Start: -730*1440 + 120*60, End: 36525 * 1440}}}}
	})
	l.add("the longest span", func(t *table.Table) {
		const first = table.Minute(-730 * 1440)
		t.Zone.Overrides = []table.OverrideGroup{{Offset: -64, Spans: []table.Span{{Start: first + 15*121, End: first + 15*(table.MaxSpanUnits-1)}}}}
	})
}
