package main

import (
	"fmt"
	"strings"
	"time"

	"mealtab/compiler/replay"
	"mealtab/compiler/report/review"
	"mealtab/compiler/report/serving"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
)

// presets are those of a plan, or all meals as one where it has none.
func presets(c *compiled) []int {
	if c.Table.Presets == 0 {
		return []int{replay.AllPresets}
	}
	list := make([]int, c.Table.Presets)
	for i := range list {
		list[i] = i
	}
	return list
}

// food shows amounts in one preset.
func food(b *strings.Builder, c *compiled, in review.Input, preset int) {
	s := review.Summarize(in, preset)
	with := withPreset(c, preset)
	if s.Days == 0 {
		fmt.Fprintf(b, "\nFood%s\n  none from now on: no serving from %s through %s\n", with, c.local(in.Now), c.Table.Through)
		return
	}
	fmt.Fprintf(b, "\nFood%s, %s from %s\n", with, units.Count(s.Days, "day"), dateText(s.First))
	fmt.Fprintf(b, "  %-22s %12s %12s %12s\n", "", "average", "least", "most")
	rows(b, "a day", s.Day)
	if s.Week.Servings.Count > 0 {
		rows(b, "a week", s.Week)
	}
	if gap := s.Hungry; gap.To > gap.From {
		fmt.Fprintf(b, "  longest without food   %s, first from %s to %s\n", review.Duration(gap.To-gap.From), c.local(gap.From), c.local(gap.To))
	}
	hopper(b, c, s.Hopper)
}

// withPreset names a preset in a heading; nothing where a plan has none.
func withPreset(c *compiled, preset int) string {
	if preset < 0 {
		return ""
	}
	return fmt.Sprintf(" with preset %q", c.plan.Presets[preset])
}

func rows(b *strings.Builder, what string, a review.Amount) {
	if a.Milligrams.Most > 0 {
		m := a.Milligrams
		fmt.Fprintf(b, "  %-7s %-14s %12s %12s %12s\n", what, "planned", fmt.Sprintf("%.1f g", m.Mean()/1000), units.Milligrams(m.Least).Short(), units.Milligrams(m.Most).Short())
		what = ""
	}
	for _, r := range []struct {
		unit   string
		spread review.Spread
	}{{"pockets", a.Pockets}, {"servings", a.Servings}} {
		fmt.Fprintf(b, "  %-7s %-14s %12.1f %12d %12d\n", what, r.unit, r.spread.Mean(), r.spread.Least, r.spread.Most)
		what = ""
	}
}

func hopper(b *strings.Builder, c *compiled, h review.Hopper) {
	switch {
	case !h.Known:
	case h.Lasts:
		fmt.Fprintf(b, "  a full hopper          %s is enough to the end of the plan\n", units.Milligrams(c.plan.Hopper).Short())
	default:
		fmt.Fprintf(b, "  a full hopper          %s, filled now, lasts %s: to %s\n", units.Milligrams(c.plan.Hopper).Short(), units.Count(h.Days, "day"), c.local(h.Last))
	}
}

// local shows an instant by the clock on the wall.
func (c *compiled) local(at table.Minute) string {
	return serving.Local(c.zone, at.Time()).Format("Mon 2006-01-02 15:04")
}

func dateText(day int) string {
	return time.Date(2000, 1, 1+day, 0, 0, 0, 0, time.UTC).Format("Mon 2006-01-02")
}
