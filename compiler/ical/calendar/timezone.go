package calendar

import (
	"fmt"
	"time"

	"mealtab/compiler/ical"
	"mealtab/compiler/zone"
)

// describe gives a zone as a VTIMEZONE has it, from the beginning of a year to the end of 2099: the changes of the data as single
// onsets, and from where only the yearly rule of the data is left, that rule.
func describe(z *zone.Zone, year int) ical.Zone {
	from := time.Date(year-1, 1, 1, 0, 0, 0, 0, time.UTC).Unix()
	changes := z.Transitions(from+1, zone.Horizon)
	first := z.At(from)
	out := ical.Zone{ID: z.Name(), Observances: []ical.Observance{{DST: first.DST, Name: first.Abbrev, From: first.Seconds, To: first.Seconds,
		Onsets: []time.Time{time.Unix(from+int64(first.Seconds), 0).UTC()}}}}
	single, rules := parted(z, changes)
	index := map[[4]any]int{}
	for _, t := range single {
		key := [4]any{t.After.DST, t.After.Abbrev, t.Before.Seconds, t.After.Seconds}
		i, known := index[key]
		if !known {
			i = len(out.Observances)
			index[key] = i
			out.Observances = append(out.Observances, observance(t))
			continue
		}
		o := &out.Observances[i]
		o.Onsets = append(o.Onsets, onset(t))
	}
	out.Observances = append(out.Observances, rules...)
	return out
}

func observance(t zone.Transition) ical.Observance {
	return ical.Observance{DST: t.After.DST, Name: t.After.Abbrev, From: t.Before.Seconds, To: t.After.Seconds, Onsets: []time.Time{onset(t)}}
}

// onset is the instant of a change by the clock that it ends (RFC 5545 §3.6.5).
func onset(t zone.Transition) time.Time { return time.Unix(t.At+int64(t.Before.Seconds), 0).UTC() }

// parted takes from the changes those that the yearly rule of the data makes in all years that follow, if it can be an RRULE.
func parted(z *zone.Zone, changes []zone.Transition) (single []zone.Transition, rules []ical.Observance) {
	footer, ok := z.Footer()
	n := len(changes)
	if !ok || footer.DST == nil || n < 2 || !plain(footer.DST.Start) || !plain(footer.DST.End) {
		return changes, nil
	}
	// From the end back: the rule's own changes, between its own two offsets.
	std, dst := footer.Std.Seconds, footer.DST.Offset.Seconds
	for n > 0 {
		t := changes[n-1]
		if min(t.Before.Seconds, t.After.Seconds) != min(std, dst) || max(t.Before.Seconds, t.After.Seconds) != max(std, dst) || footer.NextAfter(t.At-1) != t.At {
			break
		}
		if n < len(changes) && footer.NextAfter(t.At) != changes[n].At {
			break
		}
		n--
	}
	if len(changes)-n < 4 {
		return changes, nil
	}
	for _, t := range changes[n : n+2] {
		o, rule := observance(t), footer.DST.End
		if t.After.Seconds == dst {
			rule = footer.DST.Start
		}
		o.Rule = recurrence(rule)
		rules = append(rules, o)
	}
	return changes[:n], rules
}

// plain reports a rule that names a weekday of a month and a time of that day. The few others are written as single onsets.
func plain(r zone.FooterRule) bool { return r.Kind == 'M' && r.Seconds >= 0 && r.Seconds < 86400 }

func recurrence(r zone.FooterRule) string {
	week := r.Week
	if week == 5 {
		week = -1
	}
	return fmt.Sprintf("FREQ=YEARLY;BYMONTH=%d;BYDAY=%d%s", r.Month, week, [...]string{"SU", "MO", "TU", "WE", "TH", "FR", "SA"}[r.Day])
}
