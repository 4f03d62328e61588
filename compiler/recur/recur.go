// Package recur is the referee: it says, by a literal reading of RFC 5545 §3.3.10 and §3.8.5 and of
// RFC 7529 §4 (SKIP), at which instants a recurrence set has its instances.
//
// In: a [plan.Recurrence], whose RRULE is read from its text and from nothing else, and a zone.
// Out: instances in ascending order, as nominal local time (seconds since 1970-01-01T00:00:00 on a clock that
// knows no zone) and as instant (Unix seconds, UTC), up to [End].
//
// A rule is expanded in nominal local time, period by period: FREQ and INTERVAL choose the active periods, the
// table in effects.go says which BYxxx part fills a period with days and which parts only filter them, the
// days times the times of day are the period's set, BYSETPOS picks from it, and COUNT and UNTIL end the rule.
// Only then is each instance resolved to an instant by [zone.Zone.Resolve]. Every search is bounded by End, and
// where a rule steps by less than a day the times that can never come up are left out before the search begins.
//
// # Where the RFC leaves a choice
//
//   - A DTSTART that does not fit its rule is not in the set (§3.8.5.3 calls the set undefined). See
//     [Set.StartMatches].
//   - A local time that does not exist is served at the offset in force before the gap (§3.3.5), or, with
//     [plan.GapOmit], is left out and not counted (the other sentence of §3.3.10). Explicit values (RDATE, and
//     DTSTART without a rule) are never left out. A local time that happens twice means the first time.
//   - COUNT counts the nominal local times of the rule, before gaps are resolved, before two of them turn out
//     to be the same instant, and before EXDATE takes any away.
//   - UNTIL in UTC is compared with the resolved instant, a local UNTIL with the nominal time, and the day of
//     an UNTIL without time belongs to the rule; all are inclusive.
//   - HOURLY, MINUTELY and SECONDLY step nominal local time: a day of 23 or 25 hours is stepped like any
//     other, and the repeated hour is visited once.
//   - YEARLY with BYMONTHDAY and without BYMONTH means that day of every month: the table says "expand".
//   - BYWEEKNO: a period is a week-numbering year, INTERVAL counts those from the one that holds DTSTART, and
//     its set is the dates of the listed weeks, which may lie in a neighbouring calendar year. All other parts
//     filter on the date itself. Without BYDAY, BYMONTHDAY and BYYEARDAY the weekday is that of DTSTART.
//   - Numeric BYDAY beside BYMONTHDAY or BYYEARDAY filters: it counts within the month for MONTHLY or where
//     BYMONTH is present, else within the year.
//   - BYYEARDAY and BYMONTHDAY together: a day must be both.
//   - BYHOUR, BYMINUTE and BYSECOND beside a DTSTART of type DATE are honoured, though §3.3.10 would ignore
//     them: a meal needs a time, and without them it is midnight.
//   - Second 60 is read as 59 (§3.3.12).
//
// SKIP acts where BYMONTHDAY, BYYEARDAY or the day of DTSTART fills the period (MONTHLY and YEARLY without
// BYWEEKNO); where a part only filters, a date that does not exist is not there to be moved. The move comes after
// BYMONTHDAY and before BYDAY (RFC 7529 §4.1), so BYDAY is tested on the day moved to, and BYMONTH is not tested
// again. A day 366 that does not exist lies in no month and has no day of the month: beside BYMONTH or BYMONTHDAY
// it is dropped, not moved. A moved day belongs to the set (BYSETPOS) of the period it came from; two days that
// come to lie on the same date are one, within a period and across two. The period before that of DTSTART counts
// too, if it moves a day forward onto DTSTART's.
package recur

import (
	"fmt"
	"slices"
	"time"

	"mealtab/compiler/plan"
	"mealtab/compiler/zone"
)

// End is the last nominal second of a set: 2099-12-31T23:59:59, where the calendar of the clock chip ends.
const End int64 = 4102444799

// Set is a recurrence set (RFC 5545 §3.8.5). It does not change, and may be walked by any number of cursors.
type Set struct {
	rule     *rule // nil: explicit values only
	start    int64 // nominal seconds
	wholeDay bool  // DTSTART gives the date only; the times are those of BYHOUR or of at
	offsets  []int64
	explicit []int64 // nominal seconds, ascending: RDATE, and DTSTART when there is no rule
	exTimes  []int64 // nominal seconds, ascending: EXDATE
	exDays   []int64 // days since 1970-01-01, ascending: EXDATE;VALUE=DATE
	zone     *zone.Zone
	utc      bool
	omitGaps bool
}

// Instance is one member of a set.
type Instance struct {
	Nominal int64     // seconds since 1970-01-01T00:00:00 in the set's own local time (in UTC for a set of form UTC)
	Unix    int64     // the instant, seconds
	Kind    zone.Kind // whether the local time exists once, twice or not at all
}

// New builds the recurrence set of r. Local times are those of zone z, which may be nil for a set of form UTC.
// It fails on a rule that RFC 5545 or RFC 7529 does not allow, naming the part, and on dates that do not exist.
func New(r plan.Recurrence, z *zone.Zone, gap plan.Gap) (*Set, error) {
	if z == nil && r.Form != plan.UTC {
		return nil, fmt.Errorf("a recurrence set in local time needs a zone")
	}
	s := &Set{zone: z, utc: r.Form == plan.UTC, omitGaps: gap == plan.GapOmit,
		wholeDay: r.Form == plan.Date || len(r.At) > 0}
	var err error
	if s.start, err = nominal("DTSTART", r.Start); err != nil {
		return nil, err
	}
	if s.explicit, err = nominals("RDATE", r.RDate); err != nil {
		return nil, err
	}
	if s.exTimes, err = nominals("EXDATE", r.ExDate); err != nil {
		return nil, err
	}
	if s.exDays, err = nominals("EXDATE", r.ExDays); err != nil {
		return nil, err
	}
	for i, n := range s.exDays {
		s.exDays[i] = floorDiv(n, daySeconds)
	}
	if r.Rule == nil {
		if len(r.At) > 0 {
			return nil, fmt.Errorf("several times of day need a rule that repeats days, such as FREQ=DAILY")
		}
		s.explicit = ascending(append(s.explicit, s.start))
		return s, nil
	}
	if s.rule, err = parseRule(r.Rule.Text, len(r.At) > 0); err != nil {
		return nil, err
	}
	s.offsets, err = s.rule.offsets(s.start, r.At)
	return s, err
}

// StartMatches reports whether DTSTART fits its rule: only then is it in the set. Where the times of day come from
// elsewhere (a DTSTART without time, or at), only its date is compared. COUNT, UNTIL, EXDATE and gaps play no part.
func (s *Set) StartMatches() bool {
	if s.rule == nil {
		return true
	}
	if !s.wholeDay {
		first, ok := newGenerator(s, s.start).next()
		return ok && first == s.start
	}
	midnight := s.start - floorMod(s.start, daySeconds)
	first, ok := newGenerator(s, midnight).next()
	return ok && first < midnight+daySeconds
}

// resolve gives the instant of a nominal time of the set.
func (s *Set) resolve(n int64) Instance {
	if s.utc {
		return Instance{Nominal: n, Unix: n, Kind: zone.Unique}
	}
	unix, kind := s.zone.Resolve(n)
	return Instance{Nominal: n, Unix: unix, Kind: kind}
}

// nominal reads a local date-time as nominal seconds; name is that of the property, for the error.
func nominal(name string, l plan.Local) (int64, error) {
	t := time.Date(l.Year, time.Month(l.Month), l.Day, l.Hour, l.Minute, l.Second, 0, time.UTC)
	y, m, d := t.Date()
	if y != l.Year || int(m) != l.Month || d != l.Day || y < 1 || y > 9999 ||
		t.Hour() != l.Hour || t.Minute() != l.Minute || t.Second() != l.Second {
		return 0, fmt.Errorf("%s %v does not exist in the calendar", name, l)
	}
	return t.Unix(), nil
}

func nominals(name string, ls []plan.Local) ([]int64, error) {
	out := make([]int64, len(ls))
	for i, l := range ls {
		n, err := nominal(name, l)
		if err != nil {
			return nil, err
		}
		out[i] = n
	}
	return ascending(out), nil
}

// ascending sorts ns in place and drops repetitions: duplicates are considered once (RFC 5545 §3.8.5.3).
func ascending(ns []int64) []int64 {
	slices.Sort(ns)
	return slices.Compact(ns)
}
