package review

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

// night is a meal's instance in a skipped or repeated hour.
type night struct {
	meal    int // of the table
	kind    zone.Kind
	nominal table.Minute // as the plan says
	shown   table.Minute // the clock on the wall when it is served
	omitted bool         // not served at all
	change  zone.Transition
}

// hours are the bounds of the skipped or repeated time, as clock readings.
func (n *night) hours() (from, to string) {
	before, after := n.change.At+int64(n.change.Before.Seconds), n.change.At+int64(n.change.After.Seconds)
	return clockText(table.MinuteOf(min(before, after))), clockText(table.MinuteOf(max(before, after)))
}

func clockText(nominal table.Minute) string { return nominal.Time().Format("15:04") }

func (n *night) date() string { return n.nominal.Time().Format("2006-01-02") }

// findNights looks at the hours around each change of the clocks in a range. A copy of the table in a zone that never
// changes gives the nominal times: what the plan says, before any hour is skipped.
func (r *review) findNights(from, to table.Minute) (list []night) {
	changes := r.Zone.Transitions(from.Unix(), to.Unix())
	if len(changes) == 0 {
		return nil
	}
	plain := nominalTable(r.Table)
	for _, c := range changes {
		before, after := c.At+int64(c.Before.Seconds), c.At+int64(c.After.Seconds)
		kind := zone.Gap
		if after < before {
			kind = zone.Overlap
		}
		from, to := table.MinuteOf(min(before, after)), table.MinuteOf(max(before, after))
		late := table.Minute(c.Before.Seconds / 60)
		served := map[mealAt]bool{}
		for _, m := range servedIn(r.Table, from-late, to-late) {
			served[m] = true
		}
		for _, m := range servedIn(plain, from, to) {
			list = append(list, night{meal: m.meal, kind: kind, nominal: m.at, shown: r.nominal(m.at - late), change: c,
				omitted: !served[mealAt{m.meal, m.at - late}]})
		}
	}
	return list
}

// mealAt is a meal of a table at a minute.
type mealAt struct {
	meal int
	at   table.Minute
}

// servedIn replays a range of a table, once for all its minutes: each replay begins by reading a whole month.
func servedIn(t *table.Table, from, to table.Minute) (list []mealAt) {
	cursor := replay.New(t, replay.Options{From: from, To: to, Preset: replay.AllPresets})
	for s, ok := cursor.Next(); ok; s, ok = cursor.Next() {
		for _, m := range s.Meals {
			list = append(list, mealAt{m.Meal, s.At})
		}
	}
	return list
}

// nominalTable is the table with its local times taken as they stand; meals in UTC have no part in it.
func nominalTable(t *table.Table) *table.Table {
	plain := *t
	plain.Zone = table.Zone{}
	plain.Meals = slices.Clone(t.Meals)
	for i := range plain.Meals {
		m := &plain.Meals[i]
		m.Parts = slices.DeleteFunc(slices.Clone(m.Parts), func(p table.Part) bool {
			return p.Rule > 0 && t.Rules[p.Rule-1].UTC
		})
	}
	return &plain
}

// nights warns of each meal in such an hour: once for all skipped and once for all repeated hours.
func (r *review) nights() {
	list := r.findNights(r.from, r.to)
	slices.SortStableFunc(list, func(a, b night) int {
		return cmp.Or(cmp.Compare(a.meal, b.meal), cmp.Compare(a.kind, b.kind), cmp.Compare(a.nominal, b.nominal))
	})
	for len(list) > 0 {
		n := 1
		for n < len(list) && list[n].meal == list[0].meal && list[n].kind == list[0].kind {
			n++
		}
		r.nightWarning(list[:n])
		list = list[n:]
	}
}

func (r *review) nightWarning(same []night) {
	first, m := &same[0], r.meal(same[0].meal)
	code := CodeGap
	if first.kind == zone.Overlap {
		code = CodeOverlap
	}
	from, to := first.hours()
	hint := fmt.Sprintf("%sa time before %s or from %s on keeps clear of it", others(same), from, to)
	r.warn(code, timesOf(m), hint, "%q %s", m.Name, first.words())
}

// words says what happens in the night, for the calendar and for warnings.
func (n *night) words() string {
	at := clockText(n.nominal)
	switch {
	case n.kind == zone.Overlap:
		return fmt.Sprintf("falls in the repeated hour on %s and is served the first time it is %s", n.date(), at)
	case n.omitted:
		return fmt.Sprintf("falls in the skipped hour on %s and is left out (gap = \"omit\")", n.date())
	}
	return fmt.Sprintf("falls in the skipped hour on %s and is served at %s instead of %s", n.date(), clockText(n.shown), at)
}

// others names the other dates in sight.
func others(same []night) string {
	var dates []string
	for i := range same {
		if d := same[i].date(); d != same[0].date() && (len(dates) == 0 || dates[len(dates)-1] != d) {
			dates = append(dates, d)
		}
	}
	if dates == nil {
		return ""
	}
	return "also on " + strings.Join(dates, ", ") + "; "
}
