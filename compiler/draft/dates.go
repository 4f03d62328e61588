package draft

import (
	"cmp"
	"fmt"
	"slices"

	"mealtab/compiler/plan"
)

// explicitDates brings RDATE and EXDATE into the form of the start, sorted and without repetitions.
func (b *Builder) explicitDates(s *Set, r *plan.Recurrence, where *plan.MealPlaces) {
	var dates, exDates, exDays []Stamp
	for _, d := range s.RDate {
		if d.Form == plan.Date {
			b.Fail(plan.CodeType, d.Span, fmt.Sprintf("write the time of day too: %sT10:00:00", dashed(d.Local)), "an extra meal needs a time of day")
		} else if l, ok := b.inForm(d, r.Form, s.Names.RDate, s.Names.Start); ok && b.second(d, l) {
			b.Fail(plan.CodeUnsupported, d.Span, fmt.Sprintf("give it a meal of its own with %s in UTC", s.Names.Start),
				"the clock shows %s twice on that day, and this is the second time: a meal in local time is served the first", l.Local.String()[11:16])
		} else if ok {
			dates = append(dates, l)
		}
		if d.Local.Second != 0 {
			b.Fail(plan.CodeSeconds, d.Span, "", "meals are served on whole minutes")
		}
	}
	r.RDate, where.RDate = b.ordered(dates)
	for _, d := range s.ExDate {
		if d.Form != plan.Date && d.Local.Second != 0 {
			b.Fail(plan.CodeSeconds, d.Span, "write the time of the meal itself, on the whole minute", "%s is not a time of a meal: meals are served on whole minutes", d.Shown)
			continue
		}
		if d.Form == plan.Date {
			exDays = append(exDays, d)
		} else if l, ok := b.inForm(d, r.Form, s.Names.ExDate, s.Names.Start); ok && b.second(d, l) {
			b.Warn(plan.CodeIgnored, d.Span, "", "%s leaves nothing out: the clock shows %s twice on that day, and the meal is served the first time",
				d.Local.Basic(plan.UTC), l.Local.String()[11:16])
		} else if ok {
			exDates = append(exDates, b.skipped(r, d, l)...)
		}
	}
	r.ExDate, where.ExDate = b.ordered(exDates)
	r.ExDays, where.ExDays = b.ordered(exDays)
}

func dashed(l plan.Local) string { return l.String()[:10] }

// inForm converts a time to the form of the start; a start that is a date means local times.
func (b *Builder) inForm(d Stamp, form plan.Form, key, startKey string) (Stamp, bool) {
	if form == plan.Date {
		form = plan.Zoned
	}
	if d.Form == form {
		return d, true
	}
	if b.zones == nil || b.Plan.Zone == "" {
		b.Fail(plan.CodeConflict, d.Span, "write both as local time, or both as UTC with Z", "this %s is %s, but %s is %s", cmp.Or(d.Key, key), formWord(d.Form), startKey, formWord(form))
		return d, false
	}
	l, err := b.zones.Convert(b.Plan.Zone, d.Local, d.Form, form)
	if err != nil {
		b.Fail(plan.CodeDate, d.Span, "", "%v", err)
		return d, false
	}
	d.Local, d.Form = l, form
	return d, true
}

// CanBeExtra reports whether an instant can be an extra date of a set of the form: local time means the first of two.
func (b *Builder) CanBeExtra(d Stamp, form plan.Form) bool {
	l, ok := b.inForm(d, form, "", "")
	return ok && !b.second(d, l)
}

// second reports whether l, which is what the clock shows at the instant d, shows it the second time.
func (b *Builder) second(d, l Stamp) bool {
	if d.Form != plan.UTC || l.Form != plan.Zoned {
		return false
	}
	u, err := b.zones.Convert(b.Plan.Zone, l.Local, plan.Zoned, plan.UTC)
	return err == nil && u != d.Local
}

// skipped gives the nominal times that an instant d of the local time l excludes: when the clocks have just skipped an
// hour, that may be one which they never show.
func (b *Builder) skipped(r *plan.Recurrence, d, l Stamp) []Stamp {
	if d.Form != plan.UTC || l.Form != plan.Zoned || b.zones == nil {
		return []Stamp{l}
	}
	dayBefore, err := b.zones.Convert(b.Plan.Zone, d.Local.AddDays(-1), plan.UTC, plan.Zoned)
	hidden := l
	hidden.Local = dayBefore.AddDays(1) // at the offset before the gap
	if err != nil || hidden.Local == l.Local {
		return []Stamp{l}
	}
	if u, err := b.zones.Convert(b.Plan.Zone, hidden.Local, plan.Zoned, plan.UTC); err != nil || u != d.Local {
		return []Stamp{l}
	}
	var found []Stamp
	err = b.zones.Walk(b.Plan.Zone, b.Plan.Gap, *r, func(nominal, _ plan.Local) bool {
		for _, x := range []Stamp{hidden, l} {
			if nominal == x.Local {
				found = append(found, x)
			}
		}
		return nominal.Compare(l.Local) <= 0
	})
	if err != nil || len(found) == 0 {
		return []Stamp{l}
	}
	return found
}

func formWord(f plan.Form) string {
	if f == plan.UTC {
		return "UTC"
	}
	return "local time"
}

// ordered sorts, removes repetitions and separates times from places.
func (b *Builder) ordered(list []Stamp) (locals []plan.Local, places []plan.Pos) {
	slices.SortStableFunc(list, func(x, y Stamp) int { return x.Local.Compare(y.Local) })
	for i, d := range list {
		if i > 0 && d.Local == list[i-1].Local {
			continue
		}
		locals = append(locals, d.Local)
		places = append(places, b.at(d.Span))
	}
	return locals, places
}
