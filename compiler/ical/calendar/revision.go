package calendar

import (
	"cmp"
	"slices"
	"strings"

	"mealtab/compiler/draft"
	"mealtab/compiler/ical"
	"mealtab/compiler/plan"
)

// identify reads what says which event this is, and which revision of it (RFC 5545 §3.8.4.7, §3.8.4.4, §3.8.7.4).
func (r *reader) identify(c *ical.Component) *event {
	e := &event{component: c, meal: draft.Meal{Heading: c.Begin.Whole.All()}}
	e.meal.Set = draft.Set{Heading: e.meal.Heading, Names: setNames, Single: true}
	if l, ok := r.one(c, "UID"); ok {
		e.uid = l.Value.Trim().S
	}
	if l, ok := r.one(c, "STATUS"); ok {
		e.cancelled = strings.EqualFold(l.Value.Trim().S, "CANCELLED")
	}
	if l, ok := r.one(c, "SEQUENCE"); ok {
		v := l.Value.Trim()
		if n, ok := draft.WholeNumber(v.S); ok && len(v.S) <= 9 {
			e.sequence = n
		} else {
			r.Fail(plan.CodeRange, l.Value.All(), "it counts the revisions of an event from 0", "SEQUENCE %q is not a whole number", v.S)
		}
	}
	if l, ok := r.one(c, "RECURRENCE-ID"); ok {
		r.recurrenceID(e, l)
	}
	return e
}

// recurrenceID reads which instance of its series an event stands for.
func (r *reader) recurrenceID(e *event, l ical.Line) {
	e.override = true
	if v, ok := l.Param("RANGE"); ok {
		if e.following = strings.EqualFold(v.S, "THISANDFUTURE"); !e.following {
			r.Fail(plan.CodeUnsupported, v.All(), "RANGE=THISANDFUTURE is the only one (RFC 5545 §3.2.13)", "RANGE=%s does not exist", v.S)
		}
	}
	if list := r.stamps(l); len(list) == 1 {
		list[0].Key = "RECURRENCE-ID"
		e.recurrence = &list[0]
	}
}

// identity tells events apart that are not revisions of each other; "" for one that cannot have any.
func (r *reader) identity(e *event) string {
	switch {
	case e.uid == "" || e.override && e.recurrence == nil:
		return ""
	case !e.override:
		return e.uid
	}
	return e.uid + "\n" + r.instantKey(*e.recurrence)
}

// instantKey is the same for the same instant, however it is written. A date stands for the whole day.
func (r *reader) instantKey(s draft.Stamp) string {
	if u, ok := r.utc(s); ok {
		return u.Basic(plan.UTC)
	}
	return s.Local.Basic(s.Form)
}

// utc is the instant of a time; false for a date, and where the zone cannot be asked.
func (r *reader) utc(s draft.Stamp) (plan.Local, bool) {
	if s.Form == plan.UTC {
		return s.Local, true
	}
	if s.Form == plan.Date || r.zones == nil || r.Plan.Zone == "" {
		return plan.Local{}, false
	}
	l, err := r.zones.Convert(r.Plan.Zone, s.Local, plan.Zoned, plan.UTC)
	return l, err == nil
}

// latest keeps the newest revision of each event: calendars that were put together hold several. Of two with the same
// SEQUENCE nothing says which is meant, and serving both would be twice the food.
func (r *reader) latest(events []*event) []*event {
	newest := map[string]*event{}
	for _, e := range events {
		if id := r.identity(e); id != "" && (newest[id] == nil || e.sequence > newest[id].sequence) {
			newest[id] = e
		}
	}
	return slices.DeleteFunc(events, func(e *event) bool {
		best := cmp.Or(newest[r.identity(e)], e)
		if best == e {
			return false
		}
		line := r.Line(best.meal.Heading)
		if e.sequence < best.sequence {
			r.Warn(plan.CodeIgnored, e.meal.Heading, "", "revision %d of the event on line %d, which is revision %d, is not served", e.sequence, line, best.sequence)
		} else {
			r.Fail(plan.CodeDuplicate, e.component.All("UID")[0].Whole.All(), "give every event a UID of its own; of two revisions the newer has the higher SEQUENCE",
				"the event on line %d has the same UID and the same SEQUENCE (%d)", line, e.sequence)
		}
		return true
	})
}
