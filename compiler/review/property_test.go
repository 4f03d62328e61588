package review

import (
	"errors"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"mealtab/compiler"
	"mealtab/compiler/plan"
	"mealtab/compiler/profile"
	"mealtab/compiler/recur"
	"mealtab/compiler/recur/rulegen"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
	"mealtab/emulator/replay"
)

// choices lets rapid make the random sets.
type choices struct{ t *rapid.T }

func (c choices) IntN(n int) int { return rapid.IntRange(0, n-1).Draw(c.t, "choice") }

// On any plan: the review ends, and what it counts from the replay is what the referee's instants add up to.
func TestAnyPlan(t *testing.T) {
	board, err := profile.Load("")
	require.NoError(t, err)
	rapid.Check(t, func(t *rapid.T) {
		z, err := zone.Embedded().Load(rapid.SampledFrom([]string{"Europe/Lisbon", "America/New_York", "Australia/Lord_Howe", "Africa/Cairo", "Asia/Tokyo"}).Draw(t, "zone"))
		require.NoError(t, err)
		p := &plan.Plan{Zone: z.Name(), Late: 120, Source: plan.NewSource("random", nil)}
		for range rapid.IntRange(1, 3).Draw(t, "meals") {
			set := rulegen.Recurrence(choices{t}, rulegen.Options{WholeMinutes: true, Skip: true, At: true, Explicit: true, FirstYear: 2025,
				Freqs: []plan.Freq{plan.Hourly, plan.Daily, plan.Weekly, plan.Monthly, plan.Yearly}})
			p.Meals = append(p.Meals, plan.Meal{Name: rapid.StringMatching("[a-z]{3}").Draw(t, "name"), Portion: plan.Portion{Pockets: 1}, Set: set})
		}
		out, err := compiler.Compile(p, z, compiler.Options{Board: board, From: 9132}) // 2025-01-01
		var tooBig *compiler.FitError
		if errors.As(err, &tooBig) {
			return
		}
		require.NoError(t, err)
		in := Input{Plan: p, Zone: z, Table: out.Table, MealOf: out.MealOf, Now: table.Minute(rapid.IntRange(9132, 10500).Draw(t, "now")) * table.MinutesPerDay}
		Warnings(in)
		Surprises(in)
		s := Summarize(in, replay.AllPresets)
		if s.Day.Servings.Count == 0 || out.Table.Through < table.MaxDay {
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
			day := dayOf(minuteOf(in.Unix + int64(z.At(in.Unix).Seconds)))
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
