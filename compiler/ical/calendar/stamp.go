package calendar

import (
	"strings"

	"mealtab/compiler/draft"
	"mealtab/compiler/ical"
	"mealtab/compiler/plan"
	"mealtab/compiler/source"
)

// stamps reads a list of DATE, DATE-TIME or PERIOD values; of a period the start. Faults are reported.
func (r *reader) stamps(l ical.Line) []draft.Stamp {
	kind := "DATE-TIME"
	if v, ok := l.Param("VALUE"); ok {
		kind = strings.ToUpper(v.S)
		if kind != "DATE" && kind != "DATE-TIME" && (kind != "PERIOD" || l.Name != "RDATE") {
			r.Fail(plan.CodeType, v.All(), "", "VALUE=%s is not possible in %s", v.S, l.Name)
			return nil
		}
	}
	id, hasZone := l.Param("TZID")
	if hasZone && !utcNames[id.S] && !r.inPlanZone(id) {
		return nil
	}
	var out []draft.Stamp
	reported := false
	for _, t := range l.Value.Split(',') {
		t = t.Trim()
		if kind == "PERIOD" {
			start, _, _ := strings.Cut(t.S, "/")
			t = t.Sub(0, len(start))
		}
		if s, ok := r.stamp(t, kind); ok {
			switch {
			case hasZone && utcNames[id.S] && s.Form == plan.Zoned:
				s.Form = plan.UTC
			case hasZone && !utcNames[id.S] && s.Form == plan.UTC:
				if !reported {
					r.utcWithZone(l, id, s)
				}
				reported = true
				continue
			}
			out = append(out, s)
		}
	}
	return out
}

// utcWithZone refuses a time that is UTC by its Z and local by its TZID (RFC 5545 §3.2.19).
func (r *reader) utcWithZone(l ical.Line, id source.Text, s draft.Stamp) {
	local, utc := l.Name+";TZID="+id.S+":"+s.Local.Basic(plan.Zoned), l.Name+":"+s.Local.Basic(plan.UTC)
	r.Fail(plan.CodeConflict, s.Span, "write "+local+" if the clock on the wall shows that, "+utc+" if it is UTC", "TZID=%s says local time, Z says UTC", id.S)
}

// inPlanZone reports whether a TZID means the plan's zone; else that has been reported.
func (r *reader) inPlanZone(id source.Text) bool {
	name := r.zoneOf(id)
	if name != "" && r.Plan.Zone != "" && name != r.Plan.Zone {
		r.Fail(plan.CodeZone, id.All(), "a feeder stands in one zone: move the event to it, or to UTC",
			"this event is in %s, but the plan is in %s", name, r.Plan.Zone)
		return false
	}
	return name != ""
}

func (r *reader) stamp(t source.Text, kind string) (draft.Stamp, bool) {
	local, form, err := plan.ParseBasic(t.S)
	if err == nil && kind == "DATE" && form != plan.Date {
		err = &plan.ValueError{Code: plan.CodeDate, Message: "is not a date, but VALUE=DATE says so", Hint: "write 20261231"}
	}
	if err == nil {
		err = local.InCalendar()
	}
	if err != nil {
		r.Fail(err.Code, t.All(), err.Hint, "%s %s", t.S, err.Message)
		return draft.Stamp{}, false
	}
	return draft.Stamp{Local: local, Form: form, Span: t.All(), Shown: t.S}, true
}
