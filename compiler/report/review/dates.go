package review

import (
	"fmt"
	"time"

	"mealtab/compiler/plan"
	"mealtab/compiler/recur"
)

// starts warns of a DTSTART that is no time of its own rule: RFC 5545 §3.8.5.3 calls such a set undefined, and it is left
// out here.
func (r *review) starts() {
	for i := range r.Plan.Meals {
		m := &r.Plan.Meals[i]
		if m.Set.Rule == nil || m.Where.Start == (plan.Pos{}) {
			continue
		}
		set, err := recur.New(m.Set, r.Zone, r.Plan.Gap)
		if err != nil || set.StartMatches() {
			continue
		}
		in, ok := set.Cursor().Next()
		if !ok {
			continue // never served at all, which is said elsewhere
		}
		r.warn(plan.CodeStart, m.Where.Start, "the first serving is on "+time.Unix(in.Nominal, 0).UTC().Format(minuteLayout),
			"%q does not begin on this date: the rule leaves it out", m.Name)
	}
}

// maxWalk bounds the search for dates in a set: beyond 50 years of three meals a day they are not judged.
const maxWalk = 60_000

// found says which of the nominal times that were looked for, in seconds, are in a set, and which of their dates have an
// instance.
type found struct{ at, day map[int64]bool }

func (f *found) want(l plan.Local) {
	f.at[l.Unix()], f.day[l.Unix()/86400] = false, false
}

// look walks through a set as far as the last of the times; false when it cannot say.
func (r *review) look(set plan.Recurrence, lists ...[]plan.Local) (found, bool) {
	f := found{map[int64]bool{}, map[int64]bool{}}
	var last int64
	for _, list := range lists {
		for _, l := range list {
			f.want(l)
			last = max(last, l.Unix()+86399)
		}
	}
	s, err := recur.New(set, r.Zone, r.Plan.Gap)
	if err != nil {
		return f, false
	}
	c := s.Cursor()
	for range maxWalk {
		in, more := c.Next()
		if !more || in.Nominal > last {
			return f, true
		}
		if _, wanted := f.day[in.Nominal/86400]; wanted {
			f.day[in.Nominal/86400] = true
			f.at[in.Nominal] = true
		}
	}
	return f, false
}

// exclusions warns of EXDATE values that exclude nothing: often a wrong time of day, and the meal is served after all.
func (r *review) exclusions() {
	for i := range r.Plan.Meals {
		m := &r.Plan.Meals[i]
		if len(m.Set.ExDate)+len(m.Set.ExDays) == 0 {
			continue
		}
		set := m.Set
		set.ExDate, set.ExDays = nil, nil
		f, ok := r.look(set, m.Set.ExDate, m.Set.ExDays)
		if !ok {
			continue
		}
		for j, l := range m.Set.ExDate {
			n := l.Unix()
			if f.at[n] {
				continue
			}
			hint := "no serving is on that day"
			if f.day[n/86400] {
				hint = fmt.Sprintf("%q is served on that day at another time; a date alone (%s) leaves out the whole day", m.Name, l.String()[:10])
			}
			r.warn(plan.CodeIgnored, place(m.Where.ExDate, j, m), hint, "%s leaves nothing out: %q is not served then", l.String()[:16], m.Name)
		}
		for j, l := range m.Set.ExDays {
			if !f.day[l.Unix()/86400] {
				r.warn(plan.CodeIgnored, place(m.Where.ExDays, j, m), "", "%s leaves nothing out: %q is not served on that day", l.String()[:10], m.Name)
			}
		}
	}
}

// extras warns of RDATE values that add nothing.
func (r *review) extras() {
	for i := range r.Plan.Meals {
		m := &r.Plan.Meals[i]
		if len(m.Set.RDate) == 0 {
			continue
		}
		rule := m.Set
		rule.RDate, rule.ExDate, rule.ExDays = nil, nil, nil
		f, ok := r.look(rule, m.Set.RDate)
		if !ok {
			continue
		}
		for j, l := range m.Set.RDate {
			pos := place(m.Where.RDate, j, m)
			switch {
			case excluded(&m.Set, l):
				r.warn(plan.CodeIgnored, pos, "remove one of the two", "%s is excluded again by exdate: %q is not served then", l.String()[:16], m.Name)
			case f.at[l.Unix()] && pos != m.Where.Start: // of single dates the first is DTSTART too
				r.warn(plan.CodeIgnored, pos, "the same meal at the same time is served once", "%s adds nothing: the rule already has it", l.String()[:16])
			}
		}
	}
}

// excluded reports whether EXDATE takes a time away; it wins over RDATE (RFC 5545 §3.8.5.1).
func excluded(set *plan.Recurrence, l plan.Local) bool {
	for _, x := range set.ExDate {
		if x == l {
			return true
		}
	}
	for _, x := range set.ExDays {
		if x.Unix()/86400 == l.Unix()/86400 {
			return true
		}
	}
	return false
}

func place(list []plan.Pos, i int, m *plan.Meal) plan.Pos {
	if i < len(list) {
		return list[i]
	}
	return m.Pos
}
