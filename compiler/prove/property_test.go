package prove_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/lower"
	"mealtab/compiler/plan"
	"mealtab/compiler/prove"
	"mealtab/compiler/recur"
	"mealtab/compiler/recur/rulegen"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

// zones covers whole, half and quarter hours, both sides of UTC, both hemispheres, gaps of 30 and 120 minutes and at
// midnight, negative daylight saving, and explicit transitions.
var zones = []string{
	"Europe/Lisbon", "America/New_York", "Australia/Lord_Howe", "Antarctica/Troll", "America/Nuuk", "Africa/Cairo",
	"America/Santiago", "Asia/Beirut", "Europe/Dublin", "Asia/Kathmandu", "America/Havana", "Asia/Gaza",
	"Pacific/Chatham", "Atlantic/Azores", "America/St_Johns", "Africa/Casablanca", "America/Vancouver", "Etc/UTC",
}

// freqs weighs the frequencies as plans do.
var freqs = []plan.Freq{
	plan.Secondly, plan.Minutely, plan.Hourly, plan.Hourly, plan.Daily, plan.Daily, plan.Daily, plan.Weekly, plan.Weekly, plan.Weekly,
	plan.Monthly, plan.Monthly, plan.Monthly, plan.Monthly, plan.Yearly, plan.Yearly, plan.Yearly, plan.Yearly,
}

func randomPlan(r *rand.Rand, z *zone.Zone) *plan.Plan {
	p := &plan.Plan{Name: "random", Zone: z.Name(), Late: 120, Gap: plan.Gap(r.IntN(4) / 3)}
	p.Wheel = &plan.Wheel{PocketMilligrams: int64(1+r.IntN(90)) * 100}
	for i := range 1 + r.IntN(3) {
		p.Meals = append(p.Meals, plan.Meal{
			Name:    fmt.Sprintf("meal %d", i+1),
			Portion: plan.Portion{Milligrams: int64(1+r.IntN(400)) * 100},
			Set: rulegen.Recurrence(r, rulegen.Options{
				WholeMinutes: true, Skip: true, At: true, Explicit: true, Freqs: freqs,
				Forms:      []plan.Form{plan.Zoned, plan.Zoned, plan.Zoned, plan.UTC},
				UntilForms: []plan.Form{plan.Zoned, plan.UTC, plan.Date},
			}),
		})
	}
	return p
}

// span is how far a random plan is compared: to the end of the calendar if all its rules are sparse.
func span(p *plan.Plan, from table.Day) table.Day {
	for _, m := range p.Meals {
		if m.Set.Rule.Freq < plan.Daily {
			return from + 300
		}
	}
	return table.MaxDay
}

func compile(p *plan.Plan, z *zone.Zone, from, through table.Day) ([]byte, *lower.Result, error) {
	res, err := lower.Lower(p, z, lower.Options{From: from, Through: through, Explicit: func(meal int) (list []table.Minute) {
		set, err := recur.New(p.Meals[meal].Set, z, p.Gap)
		if err != nil {
			return nil
		}
		for c := set.Cursor(); ; {
			in, ok := c.Next()
			m := table.MinuteOf(in.Nominal)
			if !ok || m >= table.Minute(through+1)*table.MinutesPerDay {
				return list
			}
			if m >= table.Minute(from)*table.MinutesPerDay {
				list = append(list, m)
			}
		}
	}})
	if err != nil {
		return nil, nil, err
	}
	b, err := table.Encode(res.Table)
	return b, res, err
}

// The main property: what lowering, encoding, decoding and replay make of a random plan is what the referee reads in it.
// PROVE_PLANS sets the number of plans.
func TestTableServesWhatThePlanSays(t *testing.T) {
	plans := 100
	if s := os.Getenv("PROVE_PLANS"); s != "" {
		plans, _ = strconv.Atoi(s)
	}
	db := zone.Default()
	loaded := map[string]*zone.Zone{}
	explicit, proved, tooSlow := 0, 0, 0
	for seed := range uint64(plans) {
		r := rand.New(rand.NewPCG(seed, 21))
		name := zones[r.IntN(len(zones))]
		if loaded[name] == nil {
			z, err := db.Load(name)
			require.NoError(t, err)
			loaded[name] = z
		}
		p := randomPlan(r, loaded[name])
		from := table.Day(8766 + r.IntN(4000)) // 2024-01-01 and later
		through := span(p, from)
		b, res, err := compile(p, loaded[name], from, through)
		var tooBig *table.Error
		if errors.As(err, &tooBig) && (tooBig.Field == "length" || tooBig.Field == "meals") {
			continue
		}
		if tooBig != nil && strings.HasSuffix(tooBig.Field, "SET_POS") { // more to search for than a feeder has time for
			tooSlow++
			continue
		}
		require.NoError(t, err, "seed %d: %s", seed, describe(p))
		explicit += len(res.Explicit)
		proof, err := prove.Prove(prove.Input{Bytes: b, Plan: p, Zone: loaded[name], MealOf: res.MealOf, From: from, Through: through})
		require.NoError(t, err, "seed %d: %s", seed, describe(p))
		proved += proof.Instants
	}
	t.Logf("%d plans, %d instants compared, %d meals without a closed form, %d plans with too many positions to search for", plans, proved, explicit, tooSlow)
	require.LessOrEqual(t, tooSlow, plans/100, "few plans have more positions than a feeder can search for")
	require.Less(t, explicit, plans/20, "nearly every rule has a closed form")
}

func describe(p *plan.Plan) string {
	s := fmt.Sprintf("zone %s gap %d", p.Zone, p.Gap)
	for _, m := range p.Meals {
		s += fmt.Sprintf("\n  form %d %s %s at %v rdate %v exdate %v exdays %v", m.Set.Form, m.Set.Start, m.Set.Rule.Text, m.Set.At, m.Set.RDate, m.Set.ExDate, m.Set.ExDays)
	}
	return s
}
