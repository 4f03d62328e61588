package main

import (
	"fmt"
	"strings"

	"mealtab/compiler/power"
	"mealtab/compiler/units"
)

func (r *batteryReport) text() string {
	var b strings.Builder
	r.lifetime(&b)
	r.activity(&b)
	r.budget(&b)
	r.improve(&b)
	if r.explain {
		r.arithmetic(&b)
	}
	fmt.Fprint(&b, "\nPlease heed\n")
	for _, c := range cellCautions {
		b.WriteString(wrap("  - ", c))
	}
	return b.String()
}

// cellCautions are the usual ones for cells.
var cellCautions = []string{
	"Data sheets and this estimate are not your feeder: measure the current in the lead of the cells, asleep, and look at the cells after a month.",
	"All cells of a set are of one kind and one age; take out spent ones, they leak. Alkaline cells are never charged.",
	"Cells, the coin cell of the clock above all, sit behind a screwed lid: a swallowed or chewed cell is an emergency, go to a veterinarian at once.",
	"Below the supply limit the wheel no longer turns: keep a second way to feed, and somebody who looks every day.",
}

// years writes a life in the unit in which one thinks of it.
func years(l power.Life) string {
	s := fmt.Sprintf("%.1f years", l.Years)
	if l.Years < 1.5 {
		s = fmt.Sprintf("%.0f days", l.Days())
	}
	if l.Limited {
		s += ", then the cells are too old"
	}
	return s
}

func (r *batteryReport) lifetime(b *strings.Builder) {
	k := r.profile.Pack
	fmt.Fprintf(b, "%s on %d %s cells, board %s\n", r.title, k.Cells, k.Kind, r.profile.Board)
	if e := r.profile.Boost.Efficiency; r.same() {
		fmt.Fprintf(b, "  lasts  %s of %s, converter %.0f to %.0f %%\n", pad(years(r.life[1]), 12), k.Capacity[1], 100*e[0], 100*e[2])
		return
	}
	for i, what := range []string{"poor", "usual", "good"} {
		fmt.Fprintf(b, "  %-6s %s of %s, converter %.0f %%\n", what, pad(years(r.life[i]), 12), k.Capacity[i], 100*r.profile.Boost.Efficiency[i])
	}
}

// same reports whether poor, usual and good cells are shown with the same life: their capacity is known, and the converter
// feeds too little to matter.
func (r *batteryReport) same() bool {
	q := r.profile.Pack.Capacity
	return q[0] == q[2] && years(r.life[0]) == years(r.life[1]) && years(r.life[1]) == years(r.life[2])
}

func pad(s string, width int) string { return fmt.Sprintf("%-*s", width, s) }

func (r *batteryReport) activity(b *strings.Builder) {
	c := r.counts
	how := "counted by running the firmware"
	if !c.Counted {
		how = "computed from the replay and from what the firmware is meant to do, not counted"
	}
	fmt.Fprintf(b, "\nA year, %s\n", how)
	fmt.Fprintf(b, "  servings   %s, wheel turning %s, servo supplied %s\n", units.Thousands(int(c.Servings+0.5)), c.Wheel, c.Servo)
	fmt.Fprintf(b, "  wakes      %s, CPU executing %s, idle %s\n", units.Thousands(int(c.Wakes+0.5)), c.Awake(), c.Idle)
	fmt.Fprintf(b, "  writes     %s bytes of EEPROM, %s pages of the clock module's memory; line not in use\n",
		units.Thousands(int(c.EEPROMWrites+0.5)), units.Thousands(int(c.PageWrites+0.5)))
}

func (r *batteryReport) budget(b *strings.Builder) {
	usual := r.life[1]
	capacity := r.profile.Pack.Capacity[1]
	self := units.MilliampHours(r.profile.Pack.SelfDischarge) * capacity
	sum := usual.Budget.Sum + self
	fmt.Fprintf(b, "\nCharge a year, usual cells\n")
	line := func(name string, q units.MilliampHours) {
		part := float64(q / sum)
		percent := fmt.Sprintf("%.0f %%", 100*part)
		if part < 0.005 {
			percent = "<1 %"
		}
		fmt.Fprintf(b, "  %-36s %10s %5s  %s\n", name, q, percent, share(part))
	}
	for _, i := range usual.Budget.Items {
		if i.Charge > 0 {
			line(i.Name, i.Charge)
		}
	}
	line("self-discharge of the cells", self)
	fmt.Fprintf(b, "  %-36s %10s\n", "together", sum)
	if limit := r.profile.SleepFor(r.counts, 1); limit > 0 {
		fmt.Fprintf(b, "  for one year the board may draw at most %s around the clock\n", limit)
	}
}

func (r *batteryReport) improve(b *strings.Builder) {
	var shown []power.Gain
	width := 0
	for _, g := range r.gains {
		if g.Days >= 0.5 {
			shown = append(shown, g)
			width = max(width, len(moreDays(g.Days)))
		}
	}
	for i, g := range shown {
		if i == 0 {
			fmt.Fprint(b, "\nWhat would help, each alone\n")
		}
		fmt.Fprintf(b, "  %*s   %s\n", max(width, 11), moreDays(g.Days), g.Draw.Cut)
	}
	if len(shown) > 1 {
		fmt.Fprintf(b, "  all together: %s\n", years(r.together))
	}
}

// moreDays is a gain in the unit in which one thinks of it: days up to two years, then years and months.
func moreDays(days float64) string {
	if days < 2*365 {
		return "+" + units.Count(int(days+0.5), "day")
	}
	months := int(days/365*12 + 0.5)
	s := "+" + units.Count(months/12, "year")
	if months %= 12; months > 0 {
		s += " " + units.Count(months, "month")
	}
	return s
}

// arithmetic shows every factor.
func (r *batteryReport) arithmetic(b *strings.Builder) {
	p, usual := r.profile, r.life[1]
	efficiency := p.Boost.Efficiency[1]
	fmt.Fprint(b, "\nThe arithmetic, usual case\n")
	for _, i := range usual.Budget.Items {
		if i.Charge == 0 {
			continue
		}
		through := ""
		if i.When == power.Turning || i.When == power.Standing {
			through = fmt.Sprintf(" × %s ÷ (%s × %.2f)", p.Boost.Out, p.Pack.Mean, efficiency)
		}
		fmt.Fprintf(b, "  %s\n    %s × %s%s = %s\n", i.Name, i.Current, i.Time, through, i.Charge)
		b.WriteString(wrap("    source: ", i.Source))
	}
	q := p.Pack.Capacity[1]
	self := units.MilliampHours(p.Pack.SelfDischarge) * q
	fmt.Fprintf(b, "  self-discharge\n    %.0f %% of %s = %s\n", 100*p.Pack.SelfDischarge, q, self)
	fmt.Fprintf(b, "  life\n    %s ÷ (%s + %s) = %.2f years; shelf life %.0f years\n", q, usual.Budget.Sum, self,
		float64(q)/float64(usual.Budget.Sum+self), p.Pack.Shelf[1])
	b.WriteString(wrap("    cells: ", p.Pack.Source))
	b.WriteString(wrap("    converter: ", p.Boost.Source))
	b.WriteString(wrap("    ", fmt.Sprintf("the capacity is that to 0.9 V a cell, but below %s the wheel is not turned: expect somewhat less. In the cold a cell gives less too (0 degrees: some 70 to 80 %%, from memory).", units.Millivolts(r.minMV))))
}
