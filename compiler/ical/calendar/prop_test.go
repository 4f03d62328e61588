package calendar_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"mealtab/compiler/plan"
)

// setGen draws sets of all three forms, with at or the rule's own times, and single dates around the start. Times stay
// clear of Lisbon's clock changes (01:00 to 03:00): there a time may be moved onto another one of the same meal, which
// counts once in one meal and twice in two events.
func setGen(t *rapid.T) plan.Recurrence {
	n := func(name string, lo, hi int) int { return rapid.IntRange(lo, hi).Draw(t, name) }
	minutes := rapid.SliceOfNDistinct(rapid.IntRange(180, 1439), 1, 4, rapid.ID).Draw(t, "times")
	slices.Sort(minutes)
	day := func(name string) plan.Local {
		return plan.Local{Year: 2027, Month: n(name+"m", 1, 3), Day: n(name+"d", 1, 28)}
	}
	moment := func(name string) plan.Local {
		l, m := day(name), rapid.OneOf(rapid.SampledFrom(minutes), rapid.IntRange(180, 1439)).Draw(t, name+"t")
		l.Hour, l.Minute = m/60, m%60
		return l
	}
	r := plan.Recurrence{Form: plan.Form(n("form", 0, 2)), Start: moment("start")}
	rule := &plan.Rule{Freq: plan.Freq(n("freq", int(plan.Daily), int(plan.Yearly))), Interval: n("interval", 1, 3)}
	switch n("end", 0, 3) {
	case 1:
		rule.Count = n("count", 1, 40)
	case 2:
		rule.Until = &plan.Until{Form: plan.Date, Local: plan.Local{Year: 2027, Month: n("um", 4, 12), Day: n("ud", 1, 28)}}
	}
	if n("days", 0, 1) == 1 {
		rule.ByDay = []plan.WeekdayNum{{Day: plan.Monday}, {Day: plan.Thursday}}
		if n("pos", 0, 2) == 2 {
			rule.BySetPos = []int{-2, 1}
		}
	}
	if n("at", 0, 2) > 0 || r.Form == plan.Date {
		r.At = minutes
	}
	if r.Form == plan.Date {
		r.Start.Hour, r.Start.Minute = 0, 0
	}
	rule.Text = rule.String()
	r.Rule = rule
	for range n("rdates", 0, 3) {
		r.RDate = append(r.RDate, moment("rdate"))
	}
	for range n("exdates", 0, 3) {
		r.ExDate = append(r.ExDate, moment("exdate"))
	}
	for range n("exdays", 0, 2) {
		r.ExDays = append(r.ExDays, day("exday"))
	}
	return r
}

func TestWrittenSetsAreReadBack(t *testing.T) {
	horizon := time.Date(2029, 1, 1, 0, 0, 0, 0, time.UTC)
	rapid.Check(t, func(rt *rapid.T) {
		set := setGen(rt)
		name := rapid.SampledFrom([]string{"breakfast", "a, b; c\\d", "ends with -", "café 18 g", "朝ごはん"}).Draw(rt, "name")
		p := &plan.Plan{Zone: "Europe/Lisbon", Late: 30, Presets: []string{"every, day", "away"}, Meals: []plan.Meal{
			{Name: name, Portion: plan.Portion{Pockets: 3}, Set: set, Presets: 2},
			{Name: "other", Portion: plan.Portion{Pockets: 1}, Set: set, Presets: 1},
		}}
		text := calendarOf(rt, p, written)
		again, ds := checked.Parse("x.ics", []byte(text))
		if ds.HasErrors() {
			rt.Fatalf("%v\n%s", ds, text)
		}
		var want, got []int64
		want = instants(t, p, set, from, horizon)
		for _, m := range again.Meals {
			if m.Portion.Pockets == 3 {
				got = append(got, instants(t, again, m.Set, from, horizon)...)
				assert.True(rt, strings.HasPrefix(m.Name, name), "%q is called %q", name, m.Name)
				assert.Equal(rt, again.Presets[0], "away", "in order of first mention")
				assert.EqualValues(rt, 1, m.Presets)
			}
		}
		slices.Sort(got)
		if !slices.Equal(want, got) {
			rt.Fatalf("%d instants became %d\n%s", len(want), len(got), text)
		}
	})
}

// A zone that only means UTC makes its times UTC times; the plan's zone is that of the other events.
func TestUTCByName(t *testing.T) {
	p := mustParse(t, "x.ics", "BEGIN:VCALENDAR\nX-WR-TIMEZONE:Asia/Tokyo\nBEGIN:VEVENT\nDTSTART;TZID=Etc/UTC:20261201T070000\nSUMMARY:a 1 pocket\nEND:VEVENT\n"+
		"BEGIN:VEVENT\nDTSTART;TZID=Europe/Lisbon:20261201T070000\nSUMMARY:b 1 pocket\nEND:VEVENT\nEND:VCALENDAR\n")
	assert.Equal(t, "Europe/Lisbon", p.Zone)
	assert.Equal(t, plan.UTC, p.Meals[0].Set.Form)
	assert.Equal(t, plan.Zoned, p.Meals[1].Set.Form)
}
