package main

import (
	"fmt"
	"strings"

	"mealtab/compiler/food/forecast"
	"mealtab/compiler/food/ration"
	"mealtab/compiler/plan"
	"mealtab/compiler/prose"
)

// pets reads who eats from the plan. Faults of their values are the plan's.
func (a *app) pets(c *compiled) (*ration.Household, plan.Diagnostics) {
	home, ds := ration.FromPlan(c.plan)
	if home != nil && (!home.HasFood || !home.Complete()) {
		return nil, ds
	}
	return home, ds
}

// wheelAmounts sets the plan against what whole pockets give, where the mass of a pocket is known.
func (a *app) wheelAmounts(b *strings.Builder, c *compiled, preset int) {
	got := forecast.Compare(a.forecastInput(c, preset), countedDays)
	if got.Pocket == 0 || got.Day.Count == 0 {
		return
	}
	fmt.Fprintf(b, "\nBy the wheel%s, in pockets of %s\n", withPreset(c, preset), got.Pocket)
	fmt.Fprintf(b, "  %-20s %22s %22s %11s\n", "", "planned", "given", "pockets")
	for i, m := range got.Meals {
		if m.Count > 0 {
			amountRow(b, c.plan.Meals[c.MealOf[i]].Name, m)
		}
	}
	amountRow(b, "a day", got.Day)
	if got.Month.Count > 0 {
		amountRow(b, "a month", got.Month)
	}
	b.WriteString(prose.Wrap("  ", "What a serving leaves over is carried to the next: the running total is never more than half a pocket from the plan."))
}

func amountRow(b *strings.Builder, name string, m forecast.Amounts) {
	pockets := fmt.Sprint(m.Pockets[0])
	if m.Pockets[1] != m.Pockets[0] {
		pockets = fmt.Sprintf("%d to %d", m.Pockets[0], m.Pockets[1])
	}
	fmt.Fprintf(b, "  %-20s %22s %22s %11s\n", clipName(name, 20), spanText(m.Planned), spanText(m.Given), pockets)
}

func clipName(s string, most int) string {
	if r := []rune(s); len(r) > most {
		return string(r[:most-1]) + "…"
	}
	return s
}

func spanText(s forecast.Span) string {
	if s.Least == s.Most {
		return s.Least.String()
	}
	return s.Least.String() + " to " + s.Most.String()
}

// refillText says when to refill: not before the first serving, when the hopper is as full as it can be.
func refillText(c *compiled, f forecast.Forecast) string {
	if f.Servings == 0 {
		return "a full hopper does not hold one serving"
	}
	if f.Refill == f.First {
		return c.local(f.First) + ", the first serving: a full hopper is food for less than a day and a half"
	}
	return c.local(f.Refill) + ": food for a day and a half is left then"
}

// refill says when to fill the hopper again, and how fresh its food is then.
func (a *app) refill(b *strings.Builder, c *compiled, preset int) {
	f := forecast.Predict(a.forecastInput(c, preset))
	if c.plan.Hopper == 0 || !f.Known || f.Lasts {
		return
	}
	b.WriteString(prose.Wrap("  refill by              ", refillText(c, f)))
	if note := forecast.Freshness(f.Days); note != "" {
		b.WriteString(prose.Wrap("  ", note))
	}
	if note := a.bag(c); note != "" {
		b.WriteString(prose.Wrap("  ", note))
	}
}
