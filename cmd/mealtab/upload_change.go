package main

import (
	"fmt"
	"strings"
	"unicode/utf8"

	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/cmd/mealtab/internal/preview"
	"mealtab/compiler/decompile"
	"mealtab/compiler/prose"
	"mealtab/compiler/report/serving"
	"mealtab/flasher"
)

// showChange says what the new table will do that the old one does not.
func (s *session) showChange(c *cargo, p *flasher.Proposal) {
	now := s.a.now
	if p.Clock.Need() == flasher.ClockDistrusted {
		now = p.Clock.At.Add(p.Clock.Offset)
	}
	change := preview.Of(c.db, preview.Feeder{Held: p.Held, Status: p.Status, Now: moment.Minute(now)}, preview.Next{Bytes: c.bytes, Schedule: c.schedule, Zones: c.zones()})
	if change.FoodBefore == "" {
		fmt.Fprint(&s.out, "  the feeder has no table yet\n")
	}
	if change.Unsaid != "" {
		fmt.Fprintf(&s.out, "  %s\n", change.Unsaid)
	}
	for _, meal := range change.Meals {
		s.showMeal(meal)
	}
	for _, line := range change.Others {
		fmt.Fprintf(&s.out, "  %s\n", line)
	}
	s.showFood(change.FoodBefore, change.FoodAfter)
	s.showServings(change.Before, change.After)
}

// zones are the likely names of the table's zone.
func (c *cargo) zones() []string {
	if c.compiled != nil {
		return []string{c.compiled.plan.Zone}
	}
	return likelyZones("")
}

func (s *session) showMeal(c decompile.Change) {
	m := c.Meal()
	name := serving.Pad(m.Name, min(max(12, utf8.RuneCountInString(m.Name)), 24))
	s.out.WriteString(prose.Wrap(fmt.Sprintf("  %-9s  %s  ", c.Kind, name), c.Words()))
}

// showFood compares food a day.
func (s *session) showFood(before, after string) {
	switch before {
	case "":
		fmt.Fprintf(&s.out, "  food       %s a day\n", after)
	case after:
		fmt.Fprintf(&s.out, "  food       %s a day, as before\n", after)
	default:
		fmt.Fprintf(&s.out, "  food       %s a day, was %s (the next %d days)\n", after, before, preview.FoodDays)
	}
}

// showServings puts the next servings of both tables side by side.
func (s *session) showServings(before, after []string) {
	if before == nil {
		fmt.Fprint(&s.out, "  next servings\n")
		for _, line := range after {
			fmt.Fprintf(&s.out, "    %s\n", line)
		}
		return
	}
	fmt.Fprintf(&s.out, "    %-38s %s\n", "next servings now", "and with the new table")
	for i := range max(len(before), len(after)) {
		var left, right string
		if i < len(before) {
			left = before[i]
		}
		if i < len(after) {
			right = after[i]
		}
		fmt.Fprintln(&s.out, strings.TrimRight(fmt.Sprintf("    %s %s", serving.Pad(left, 38), right), " "))
	}
}
