package decompile

import (
	"slices"
	"time"

	"mealtab/compiler/table"
)

const quarter = 900 // seconds

// offsetAt is the offset in seconds that a table's zone has at an instant (FORMAT.md, "Local time").
func offsetAt(z *table.Zone, unix int64) int {
	m := table.Minute((unix - table.Epoch) / 60)
	for _, g := range z.Overrides {
		for _, s := range g.Spans {
			if s.Start <= m && m < s.End {
				return quarter * int(g.Offset)
			}
		}
	}
	standard := quarter * int(z.Standard)
	if z.DST == nil {
		return standard
	}
	start, end := ruleInstants(z, time.Unix(unix+int64(standard), 0).UTC().Year())
	summer := start <= unix && unix < end
	if start >= end {
		summer = !(end <= unix && unix < start)
	}
	if summer {
		return standard + quarter*int(z.DST.Shift)
	}
	return standard
}

// ruleInstants are the two changes of a year.
func ruleInstants(z *table.Zone, year int) (start, end int64) {
	standard := int64(quarter) * int64(z.Standard)
	return transition(year, z.DST.Start) - standard, transition(year, z.DST.End) - standard - int64(quarter)*int64(z.DST.Shift)
}

// transition is its nominal time in a year, as Unix seconds.
func transition(year int, t table.Transition) int64 {
	first := time.Date(year, time.Month(t.Month), 1, 0, 0, 0, 0, time.UTC)
	monday0 := (int(first.Weekday()) + 6) % 7
	day := first.AddDate(0, 0, mod(t.Weekday-monday0, 7)+7*(t.Week-1))
	if day.Month() != first.Month() { // week 5 is the last, which may be the fourth
		day = day.AddDate(0, 0, -7)
	}
	return day.Unix() + 60*int64(t.Minutes)
}

// tableChanges lists the instants at which a table's zone may change its offset.
func tableChanges(z *table.Zone, from, to int64) (list []int64) {
	for _, g := range z.Overrides {
		for _, s := range g.Spans {
			list = append(list, s.Start.Time().Unix(), s.End.Time().Unix())
		}
	}
	if z.DST != nil {
		for year := time.Unix(from, 0).UTC().Year() - 1; year <= time.Unix(to, 0).UTC().Year()+1; year++ {
			start, end := ruleInstants(z, year)
			list = append(list, start, end)
		}
	}
	return slices.DeleteFunc(list, func(at int64) bool { return at < from || at >= to })
}
