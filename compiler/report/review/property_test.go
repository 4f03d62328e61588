package review

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"mealtab/compiler/lower"
	"mealtab/compiler/plan"
	"mealtab/compiler/recur"
	"mealtab/compiler/recur/rulegen"
	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

// choices lets rapid make the random sets.
type choices struct{ t *rapid.T }

func (c choices) IntN(n int) int { return rapid.IntRange(0, n-1).Draw(c.t, "choice") }

// The range of the tables, 2025-01-01 to 2035-12-15: no proof is made here, and no more is looked at.
const first, last table.Day = 9132, 13132

// instances lists the nominal times of a meal that has no closed form.
func instances(t *rapid.T, p *plan.Plan, z *zone.Zone, meal int) (list []table.Minute) {
	set, err := recur.New(p.Meals[meal].Set, z, p.Gap)
	require.NoError(t, err)
	c := set.Cursor()
	for in, ok := c.Next(); ok; in, ok = c.Next() {
		switch day := dayOf(table.MinuteOf(in.Nominal)); {
		case day > int(last):
			return list
		case day >= int(first):
			list = append(list, table.MinuteOf(in.Nominal))
		}
	}
	return list
}

// On any plan: the review ends, and what it counts from the replay is what the referee's instants add up to.
func TestAnyPlan(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		z, err := zone.Embedded().Load(rapid.SampledFrom([]string{"Europe/Lisbon", "America/New_York", "Australia/Lord_Howe", "Africa/Cairo", "Asia/Tokyo"}).Draw(t, "zone"))
		require.NoError(t, err)
		p := &plan.Plan{Zone: z.Name(), Late: 120, Source: plan.NewSource("random", nil)}
		for range rapid.IntRange(1, 3).Draw(t, "meals") {
			set := rulegen.Recurrence(choices{t}, rulegen.Options{WholeMinutes: true, Skip: true, At: true, Explicit: true, FirstYear: 2025,
				Freqs: []plan.Freq{plan.Hourly, plan.Daily, plan.Weekly, plan.Monthly, plan.Yearly}})
			p.Meals = append(p.Meals, plan.Meal{Name: rapid.StringMatching("[a-z]{3}").Draw(t, "name"), Portion: plan.Portion{Pockets: 1}, Set: set})
		}
		out, err := lower.Lower(p, z, lower.Options{From: first, Through: last, Explicit: func(meal int) []table.Minute { return instances(t, p, z, meal) }})
		require.NoError(t, err)
		in := Input{Plan: p, Zone: z, Table: out.Table, MealOf: out.MealOf, Now: table.Minute(rapid.IntRange(int(first), 10500).Draw(t, "now")) * table.MinutesPerDay}
		Warnings(in)
		Surprises(in)
		s := Summarize(in, replay.AllPresets)
		if s.Day.Servings.Count == 0 {
			return
		}
		require.Equal(t, servingsBetween(t, p, z, s.First, s.First+s.Days), s.Day.Servings.Sum)
	})
}

// servingsBetween counts the distinct instants of all meals on local dates first <= date < last.
func servingsBetween(t *rapid.T, p *plan.Plan, z *zone.Zone, first, last int) int64 {
	at := map[int64]bool{}
	for i := range p.Meals {
		set, err := recur.New(p.Meals[i].Set, z, p.Gap)
		require.NoError(t, err)
		c := set.Instants()
		for in, ok := c.Next(); ok; in, ok = c.Next() {
			day := dayOf(table.MinuteOf(in.Unix + int64(z.At(in.Unix).Seconds)))
			if day >= last+2 {
				break
			}
			if first <= day && day < last {
				at[in.Unix] = true
			}
		}
	}
	return int64(len(at))
}

// What is looked at ends five years after a table's start, here at 19:00 in New York: the serving at 23:00 of that day is
// not counted, so neither is the day.
func TestSummaryCountsWholeDays(t *testing.T) {
	z, err := zone.Embedded().Load("America/New_York")
	require.NoError(t, err)
	set := func(year, month, day int, text string) plan.Recurrence {
		rule, errs := plan.ParseRule(text)
		require.Empty(t, errs)
		return plan.Recurrence{Start: plan.Local{Year: year, Month: month, Day: day}, Rule: rule}
	}
	p := &plan.Plan{Zone: z.Name(), Late: 120, Meals: []plan.Meal{
		{Name: "month", Portion: plan.Portion{Pockets: 1}, Set: set(2031, 2, 4, "FREQ=DAILY;BYMONTHDAY=1,2,3,4,5,6,7;BYHOUR=0,23")},
		{Name: "never", Portion: plan.Portion{Pockets: 1}, Set: set(2027, 1, 31, "FREQ=HOURLY;UNTIL=20270201T000000;BYYEARDAY=-1;BYHOUR=0")},
	}}
	out, err := lower.Lower(p, z, lower.Options{From: first, Through: last})
	require.NoError(t, err)
	s := Summarize(Input{Plan: p, Zone: z, Table: out.Table, MealOf: out.MealOf, Now: table.Minute(first) * table.MinutesPerDay}, replay.AllPresets)
	require.Equal(t, 363, s.Days)
	require.EqualValues(t, 164, s.Day.Servings.Sum)
}
