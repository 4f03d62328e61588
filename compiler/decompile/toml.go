package decompile

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"mealtab/compiler/plan"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
)

// TOML writes the plan in the plan language. Reading it gives the same plan.
func (r *Result) TOML() string {
	var b strings.Builder
	p := r.Plan
	key := func(name, value string) { fmt.Fprintf(&b, "%s = %s\n", name, value) }
	if p.Name != "" {
		key("plan", strconv.Quote(p.Name))
	}
	key("zone", strconv.Quote(p.Zone))
	if p.Board != "" {
		key("board", strconv.Quote(p.Board))
	}
	if p.Late != table.DefaultLate {
		key("late", quotedMinutes(p.Late))
	}
	if p.Gap == plan.GapOmit {
		key("gap", `"omit"`)
	}
	if !p.PresetUntil.IsZero() {
		key("preset-until", stamp(p.PresetUntil, plan.Date))
	}
	if w := p.Wheel; w != nil {
		b.WriteString("\n[wheel]\n")
		if w.PocketMilligrams > 0 {
			key("pocket", strconv.Quote(units.Milligrams(w.PocketMilligrams).InGrams()))
		}
		if w.TurnMillis > 0 {
			key("turn", fmt.Sprintf(`"%d ms"`, w.TurnMillis))
		}
		if w.TrimMicros != 0 {
			key("trim", fmt.Sprintf(`"%d us"`, w.TrimMicros))
		}
	}
	if u := p.Button; u != nil {
		b.WriteString("\n[button]\n")
		key("portion", strconv.Quote(u.Portion.String()))
		key("per-hour", strconv.Itoa(u.PerHour))
		if u.PerDay > 0 {
			key("per-day", strconv.Itoa(u.PerDay))
		}
	}
	for i := range p.Meals {
		writeMeal(&b, p, &p.Meals[i])
	}
	return b.String()
}

func writeMeal(b *strings.Builder, p *plan.Plan, m *plan.Meal) {
	key := func(name, value string) { fmt.Fprintf(b, "%s = %s\n", name, value) }
	b.WriteString("\n[[meal]]\n")
	key("name", strconv.Quote(m.Name))
	key("portion", strconv.Quote(m.Portion.String()))
	set := &m.Set
	if set.Rule != nil {
		if !alwaysBeen(set) {
			key("dtstart", stamp(set.Start, set.Form))
		}
		key("rrule", strconv.Quote(set.Rule.String()))
	}
	if len(set.At) > 0 {
		var times []string
		for _, minute := range set.At {
			times = append(times, fmt.Sprintf(`"%02d:%02d"`, minute/60, minute%60))
		}
		key("at", list(times))
	}
	if len(set.RDate) > 0 {
		key("rdate", list(stamps(set.RDate, set.Form)))
	}
	if ex := append(stamps(set.ExDate, set.Form), stamps(set.ExDays, plan.Date)...); len(ex) > 0 {
		key("exdate", list(ex))
	}
	if m.Presets != 0 {
		var names []string
		for i, name := range p.Presets {
			if m.Presets>>i&1 != 0 {
				names = append(names, strconv.Quote(name))
			}
		}
		key("presets", list(names))
	}
}

// alwaysBeen reports whether DTSTART may be left out: then a plan takes it to be 2000-01-01. Our rules name their days.
func alwaysBeen(set *plan.Recurrence) bool {
	return set.Start == localAt(0, 0) && set.Form == plan.Zoned && len(set.At) > 0 && set.Rule.Interval == 1
}

// listWidth is the longest list on one line.
const listWidth = 100

func list(items []string) string {
	if line := strings.Join(items, ", "); len(line) <= listWidth {
		return "[" + line + "]"
	}
	var b strings.Builder
	b.WriteString("[")
	width := listWidth
	for _, item := range items {
		if width += len(item) + 2; width > listWidth {
			b.WriteString("\n  ")
			width = len(item) + 2
		} else {
			b.WriteString(" ")
		}
		b.WriteString(item + ",")
	}
	b.WriteString("\n]")
	return b.String()
}

func stamp(l plan.Local, form plan.Form) string {
	switch form {
	case plan.Date:
		return l.String()[:len(time.DateOnly)]
	case plan.UTC:
		return l.String() + "Z"
	}
	return l.String()
}

func stamps(values []plan.Local, form plan.Form) []string {
	var out []string
	for _, l := range values {
		out = append(out, stamp(l, form))
	}
	return out
}

func quotedMinutes(minutes int) string {
	if minutes%60 == 0 {
		return fmt.Sprintf(`"%d h"`, minutes/60)
	}
	return fmt.Sprintf(`"%d min"`, minutes)
}
