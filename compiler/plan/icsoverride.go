package plan

import "slices"

// applyOverrides lets an event with RECURRENCE-ID replace an instance of its series: the instance is excluded, and the
// new time becomes an extra date of the series, or a meal of its own when the portion differs or the time is one that
// the series excludes.
func (r *icsReader) applyOverrides(events []*icsEvent) []*icsEvent {
	series := map[string]*icsEvent{}
	for _, e := range events {
		if !e.override && e.uid != "" && series[e.uid] == nil {
			series[e.uid] = e
		}
	}
	replaced := map[*icsEvent]*icsEvent{} // override → its series
	for _, e := range events {
		if master := series[e.uid]; e.override && master != nil && !master.cancelled && e.recurrence != nil {
			replaced[e] = master
			if !e.unmoved(master) {
				master.meal.set.exdate = append(master.meal.set.exdate, *e.recurrence)
			}
		}
	}
	var out []*icsEvent
	for _, e := range events {
		switch master := replaced[e]; {
		case master == nil: // a series, or an instance that came without its series
			out = append(out, e)
		case e.cancelled || e.unmoved(master):
		case e.canJoin(master):
			master.meal.set.rdate = append(master.meal.set.rdate, *e.meal.set.start)
		default:
			out = append(out, e)
		}
	}
	return out
}

// unmoved reports an override that serves the same at the same time: only its description was changed.
func (e *icsEvent) unmoved(master *icsEvent) bool {
	start := e.meal.set.start
	return !e.cancelled && start != nil && e.meal.portion == master.meal.portion &&
		start.form == e.recurrence.form && start.local == e.recurrence.local
}

// canJoin reports whether the new time can be an extra date of the series. EXDATE wins over RDATE.
func (e *icsEvent) canJoin(master *icsEvent) bool {
	start := e.meal.set.start
	if start == nil || start.form == Date || e.meal.portion != master.meal.portion || e.meal.hasPresets || e.meal.set.broken {
		return false
	}
	return !slices.ContainsFunc(master.meal.set.exdate, func(x stamp) bool {
		return x.local == start.local || x.form == Date && x.local == start.local.date()
	})
}
