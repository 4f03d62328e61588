package reader

import (
	"cmp"
	"slices"
	"strings"

	"mealtab/compiler/plan"
)

// identify reads what says which event this is, and which revision of it (RFC 5545 §3.8.4.7, §3.8.4.4, §3.8.7.4).
func (r *icsReader) identify(c *icsComponent) *icsEvent {
	e := &icsEvent{component: c, meal: rawMeal{heading: c.begin.whole.all()}}
	e.meal.set = rawSet{heading: e.meal.heading, keys: icsNames, single: true}
	if l, ok := r.one(c, "UID"); ok {
		e.uid = l.value.trim().s
	}
	if l, ok := r.one(c, "STATUS"); ok {
		e.cancelled = strings.EqualFold(l.value.trim().s, "CANCELLED")
	}
	if l, ok := r.one(c, "SEQUENCE"); ok {
		v := l.value.trim()
		if !plan.AllDigits(v.s) || len(v.s) > 9 {
			r.fail(plan.CodeRange, l.value.all(), "it counts the revisions of an event from 0", "SEQUENCE %q is not a whole number", v.s)
		} else {
			e.sequence = atoi(v.s)
		}
	}
	if l, ok := r.one(c, "RECURRENCE-ID"); ok {
		r.recurrenceID(e, l)
	}
	return e
}

// recurrenceID reads which instance of its series an event stands for.
func (r *icsReader) recurrenceID(e *icsEvent, l icsLine) {
	e.override = true
	if v, ok := l.param("RANGE"); ok {
		if e.following = strings.EqualFold(v.s, "THISANDFUTURE"); !e.following {
			r.fail(plan.CodeUnsupported, v.all(), "RANGE=THISANDFUTURE is the only one (RFC 5545 §3.2.13)", "RANGE=%s does not exist", v.s)
		}
	}
	if list := r.icsStamps(l); len(list) == 1 {
		list[0].key = "RECURRENCE-ID"
		e.recurrence = &list[0]
	}
}

// identity tells events apart that are not revisions of each other; "" for one that cannot have any.
func (r *icsReader) identity(e *icsEvent) string {
	switch {
	case e.uid == "" || e.override && e.recurrence == nil:
		return ""
	case !e.override:
		return e.uid
	}
	return e.uid + "\n" + r.instantKey(*e.recurrence)
}

// instantKey is the same for the same instant, however it is written. A date stands for the whole day.
func (r *icsReader) instantKey(s stamp) string {
	if u, ok := r.utc(s); ok {
		return u.Basic(plan.UTC)
	}
	return s.local.Basic(s.form)
}

// utc is the instant of a time; false for a date, and where the zone cannot be asked.
func (r *icsReader) utc(s stamp) (plan.Local, bool) {
	if s.form == plan.UTC {
		return s.local, true
	}
	if s.form == plan.Date || r.opts.Convert == nil || r.plan.Zone == "" {
		return plan.Local{}, false
	}
	l, err := r.opts.Convert(r.plan.Zone, s.local, plan.Zoned, plan.UTC)
	return l, err == nil
}

// latest keeps the newest revision of each event: calendars that were put together hold several. Of two with the same
// SEQUENCE nothing says which is meant, and serving both would be twice the food.
func (r *icsReader) latest(events []*icsEvent) []*icsEvent {
	newest := map[string]*icsEvent{}
	for _, e := range events {
		if id := r.identity(e); id != "" && (newest[id] == nil || e.sequence > newest[id].sequence) {
			newest[id] = e
		}
	}
	return slices.DeleteFunc(events, func(e *icsEvent) bool {
		best := cmp.Or(newest[r.identity(e)], e)
		if best == e {
			return false
		}
		line := r.ix.line(best.meal.heading.from)
		if e.sequence < best.sequence {
			r.warn(plan.CodeIgnored, e.meal.heading, "", "revision %d of the event on line %d, which is revision %d, is not served", e.sequence, line, best.sequence)
		} else {
			r.fail(plan.CodeDuplicate, e.component.all("UID")[0].whole.all(), "give every event a UID of its own; of two revisions the newer has the higher SEQUENCE",
				"the event on line %d has the same UID and the same SEQUENCE (%d)", line, e.sequence)
		}
		return true
	})
}
