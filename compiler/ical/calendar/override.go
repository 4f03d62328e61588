package calendar

import (
	"slices"

	"mealtab/compiler/draft"
	"mealtab/compiler/plan"
)

// applyOverrides lets an event with RECURRENCE-ID replace an instance of its series (RFC 5545 §3.8.4.4). Instances are
// compared as instants: the same one may be written as local time here and as UTC there.
//
// The instance is excluded from the series. What stands for it becomes an extra date of the series where that is the
// same, else a meal of single dates beside it: an extra date that the series excludes, or has already, would be lost.
func (r *reader) applyOverrides(events []*event) []*event {
	masters := map[string]*event{}
	for _, e := range events {
		if !e.override && e.uid != "" {
			masters[e.uid] = e
		}
	}
	overrides := map[*event][]*event{}
	for _, e := range events {
		if m := masters[e.uid]; e.override && m != nil && !m.cancelled && e.recurrence != nil {
			overrides[m] = append(overrides[m], e)
		}
	}
	var out []*event
	for _, e := range events {
		switch m := masters[e.uid]; {
		case !e.override && len(overrides[e]) > 0:
			s := &seriesReader{reader: r, master: e}
			out = append(out, s.apply(overrides[e])...)
		case e.override && m != nil && len(overrides[m]) > 0 && e.recurrence != nil: // came with its series
		default:
			out = append(out, e)
		}
	}
	return out
}

// seriesReader puts a series and its overrides together.
type seriesReader struct {
	*reader
	master *event
	has    map[plan.Local]plan.Local // the instances of the series that were asked for: UTC → nominal time
	walked bool                      // has can be trusted
	// single are the instants of EXDATE and RDATE, by [reader.instantKey]; days are the dates of EXDATE;VALUE=DATE.
	single map[string]bool
	days   map[plan.Local]bool
	beside map[mealInstant]bool // what the meals beside the series serve
}

// mealInstant is an instant of one of the meals that stand beside a series.
type mealInstant struct {
	meal *event
	key  string
}

// apply gives the series without what is replaced, and the meals that stand for that.
func (s *seriesReader) apply(overrides []*event) []*event {
	if s.master.meal.Set.Broken || s.master.meal.Set.Start == nil {
		return []*event{s.master}
	}
	overrides = slices.DeleteFunc(overrides, s.datesOnly)
	s.single, s.days, s.beside = map[string]bool{}, map[plan.Local]bool{}, map[mealInstant]bool{}
	for _, x := range slices.Concat(s.master.meal.Set.ExDate, s.master.meal.Set.RDate) {
		s.note(x)
	}
	s.look(overrides)
	var moved []*event
	for _, e := range overrides {
		if e.following || e.meal.Set.Broken || s.unchanged(e) {
			continue
		}
		s.exclude(*e.recurrence)
		if !e.cancelled && e.meal.Set.Start != nil {
			moved = append(moved, e)
		}
	}
	out := []*event{s.master}
	joins := !slices.ContainsFunc(overrides, func(e *event) bool { return e.following })
	for _, e := range moved {
		if joins && s.canJoin(e) {
			s.note(*e.meal.Set.Start)
			s.master.meal.Set.RDate = append(s.master.meal.Set.RDate, *e.meal.Set.Start)
			continue
		}
		out = s.stand(out, e)
	}
	return s.follow(out, overrides)
}

// note remembers a single date of the series.
func (s *seriesReader) note(x draft.Stamp) {
	if x.Form == plan.Date {
		s.days[x.Local] = true
	}
	s.single[s.instantKey(x)] = true
}

// datesOnly reports an override of a whole day in a series of times: it does not say which of them is meant.
func (s *seriesReader) datesOnly(e *event) bool {
	if e.recurrence.Form != plan.Date || s.master.meal.Set.Start.Form == plan.Date {
		return false
	}
	s.Fail(plan.CodeType, e.recurrence.Span, "write it as DTSTART of the series is written, with the time of the instance",
		"RECURRENCE-ID is a date, but the series has times of day (RFC 5545 §3.8.4.4)")
	return true
}

// look asks which of the instants that the overrides name are instances of the series as it stands.
func (s *seriesReader) look(overrides []*event) {
	s.has = map[plan.Local]plan.Local{}
	wanted, last := map[plan.Local]bool{}, plan.Local{}
	for _, e := range overrides {
		for _, st := range []*draft.Stamp{e.recurrence, e.meal.Set.Start} {
			if st == nil {
				continue
			}
			if u, ok := s.utc(*st); ok {
				if wanted[u] = true; u.Compare(last) > 0 {
					last = u
				}
			}
		}
	}
	set, ok := s.Probe(s.master.meal.Set)
	if !ok || s.zones == nil || len(wanted) == 0 {
		return
	}
	last = last.AddDays(2) // nominal times of any zone lie within a day or so of UTC
	err := s.zones.Walk(s.Plan.Zone, s.Plan.Gap, set, func(nominal, utc plan.Local) bool {
		if wanted[utc] {
			s.has[utc] = nominal
		}
		return nominal.Compare(last) <= 0
	})
	s.walked = err == nil
}

// unchanged reports an override that serves the same at the same time: only its description was changed. An instance that
// the series does not have, or has excluded, is no such case.
func (s *seriesReader) unchanged(e *event) bool {
	start := e.meal.Set.Start
	if e.cancelled || start == nil || !s.sameMeal(e) || s.instantKey(*start) != s.instantKey(*e.recurrence) {
		return false
	}
	if u, ok := s.utc(*start); ok && s.walked {
		_, member := s.has[u]
		return member
	}
	return !s.single[s.instantKey(*start)]
}

// sameMeal reports whether an override serves what its series does.
func (s *seriesReader) sameMeal(e *event) bool {
	m := s.master.meal
	return e.meal.Portion == m.Portion && samePresets(&e.meal, &m)
}

// exclude takes an instance out of the series, by the nominal time that the series has for it.
func (s *seriesReader) exclude(at draft.Stamp) {
	if u, ok := s.utc(at); ok && s.walked {
		if nominal, member := s.has[u]; member {
			at.Local, at.Form = nominal, s.master.meal.Set.Start.Form
			if at.Form == plan.Date {
				at.Form = plan.Zoned
			}
		}
	}
	s.note(at)
	s.master.meal.Set.ExDate = append(s.master.meal.Set.ExDate, at)
}

// canJoin reports whether the new time can be an extra date of the series: of the same meal, and neither excluded by it
// nor one that it has already. EXDATE wins over RDATE, and RDATE adds nothing to an instance (RFC 5545 §3.8.5.1).
func (s *seriesReader) canJoin(e *event) bool {
	start := *e.meal.Set.Start
	u, ok := s.utc(start)
	if !ok || !s.walked || !s.sameMeal(e) {
		return false
	}
	if _, member := s.has[u]; member {
		return false
	}
	if !s.CanBeExtra(start, s.master.meal.Set.Start.Form) {
		return false
	}
	for day := -1; day <= 1; day++ { // a date of EXDATE is one of the series' own clock
		if s.days[start.Local.Date().AddDays(day)] {
			return false
		}
	}
	return !s.single[s.instantKey(start)]
}

// stand adds an instance to a meal of single dates that stands beside the series, or makes it one.
func (s *seriesReader) stand(meals []*event, e *event) []*event {
	start := *e.meal.Set.Start
	key := s.instantKey(start)
	for _, m := range meals[1:] {
		if m.meal.Name != e.meal.Name || m.meal.Portion != e.meal.Portion || start.Form != m.meal.Set.Start.Form || start.Form == plan.Date ||
			!samePresets(&e.meal, &m.meal) || s.beside[mealInstant{m, key}] {
			continue
		}
		s.beside[mealInstant{m, key}] = true
		m.meal.Set.RDate = append(m.meal.Set.RDate, start)
		return meals
	}
	s.beside[mealInstant{e, key}] = true
	return append(meals, e)
}

func samePresets(a, b *draft.Meal) bool {
	return slices.EqualFunc(a.Presets, b.Presets, func(x, y draft.Field) bool { return x.S == y.S })
}
