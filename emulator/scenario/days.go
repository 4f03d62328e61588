package scenario

import (
	"slices"
	"time"

	"mealtab/compiler/replay"
	"mealtab/compiler/table"
)

// Window is a span of time: From <= instant < To. A board that starts at From serves nothing of that minute.
type Window struct{ From, To table.Minute }

// Windows returns what a rehearsal of some years runs: the first year whole, then the days around every odd one; with
// full, every instant, about a year on each board.
func Windows(t *table.Table, from table.Minute, years int, full bool) []Window {
	begin := from.Time()
	end := min(table.MinuteOf(begin.AddDate(years, 0, 0).Unix()), table.Minute(int(t.Through)+1)*table.MinutesPerDay)
	first := min(table.MinuteOf(begin.AddDate(1, 0, 0).Unix()), end)
	if full {
		return cutAtRest(t, from, end)
	}
	if years <= 1 {
		return []Window{{from, end}}
	}
	list := []Window{{from, first}}
	for _, d := range oddDays(t, first, end) {
		at := table.Minute(d) * table.MinutesPerDay
		w := Window{max(at-table.MinutesPerDay, first), min(at+2*table.MinutesPerDay, end)}
		if w.From >= w.To {
			continue
		}
		if last := &list[len(list)-1]; len(list) > 1 && w.From <= last.To {
			last.To = max(last.To, w.To)
		} else {
			list = append(list, w)
		}
	}
	return list
}

// cutAtRest parts a span into windows of about a year, so that they can run side by side. Where they are cut depends on the
// table alone, and no instant is lost: a window starts in the last minute of the one before it, which it does not serve.
func cutAtRest(t *table.Table, from, end table.Minute) []Window {
	list := []Window{{from, end}}
	for year := 1; ; year++ {
		at := table.MinuteOf(from.Time().AddDate(year, 0, 0).Unix())
		if end-at < restSearch {
			return list
		}
		cut := restAfter(t, at)
		list[len(list)-1].To = cut
		list = append(list, Window{cut - 1, end})
	}
}

// restSearch is where a cut is looked for: two days, so that the night of a daily meal is among them.
const restSearch = 2 * table.MinutesPerDay

// restAfter is the middle of the longest rest between servings in the two days after an instant: the wheel has long
// stopped then, however many pockets a serving has.
func restAfter(t *table.Table, at table.Minute) table.Minute {
	begin, longest, middle := at, table.Minute(0), at
	rest := func(until table.Minute) {
		if until-begin > longest {
			longest, middle = until-begin, begin+(until-begin+1)/2
		}
		begin = until
	}
	for c := servedIn(t, Window{at, at + restSearch}); ; {
		s, more := c.Next()
		if !more {
			break
		}
		rest(s.At)
	}
	rest(at + restSearch)
	return middle
}

// clip cuts windows off at an instant.
func clip(list []Window, until table.Minute) []Window {
	var kept []Window
	for _, w := range list {
		w.To = min(w.To, until)
		if w.From < w.To {
			kept = append(kept, w)
		}
	}
	return kept
}

// oddDays lists the days on which something unusual happens: clock changes, 29 February, ends of months and years, days
// on which a rule starts or ends, explicit dates.
func oddDays(t *table.Table, from, to table.Minute) []table.Day {
	var days []table.Day
	first, last := table.Day(from/table.MinutesPerDay), table.Day((to-1)/table.MinutesPerDay)
	local := replay.NewClock(&t.Zone)
	for d := first; d <= last; d++ {
		at := table.Minute(d) * table.MinutesPerDay
		date := at.Time()
		switch {
		case date.Day() == 1, date.AddDate(0, 0, 1).Day() == 1, date.Month() == time.February && date.Day() == 29,
			local.Offset(at) != local.Offset(at+table.MinutesPerDay):
			days = append(days, d)
		}
	}
	mention := func(list ...table.Day) {
		for _, d := range list {
			if first <= d && d <= last {
				days = append(days, d)
			}
		}
	}
	mention(t.Start, t.Through)
	for i := range t.Rules {
		r := &t.Rules[i]
		mention(r.From, r.Until)
		mention(r.Dates...)
		mention(r.Except...)
	}
	slices.Sort(days)
	return slices.Compact(days)
}
