// Package remarks says what an owner should hear of a compiled plan, beside what reading it has said.
//
// In: a plan, its zone, its table; time zone data; the present time. Out: warnings with their place in the plan. The command and
// the page say the same of the same plan because both ask here.
package remarks

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"mealtab/compiler"
	"mealtab/compiler/plan"
	"mealtab/compiler/report/review"
	"mealtab/compiler/report/serving"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

// The codes of what is said here.
const (
	codeThrough  plan.Code = "valid-through"
	codeZoneData plan.Code = "zone-data"
)

// LastInstant is the end of the table's calendar, in seconds since 1970.
const LastInstant = table.Epoch + (int64(table.MaxDay)+1)*86400

// About looks ahead in a compiled plan: what is probably not meant, and when the table ends if it ends early.
func About(in review.Input, out *compiler.Output) plan.Diagnostics {
	ds := review.Warnings(in)
	if out.Proof.Through < table.MaxDay {
		ds = append(ds, validThrough(in.Plan, out))
	}
	return ds
}

// validThrough says that the table ends before the calendar does.
func validThrough(p *plan.Plan, out *compiler.Output) plan.Diagnostic {
	what := "the zone's clock changes are"
	if len(out.Explicit) > 0 {
		what = strings.Join(out.Explicit, ", ") + " is"
	}
	return plan.Diagnostic{
		Code: codeThrough, Severity: plan.Warning, Source: p.Source,
		Message: fmt.Sprintf("the table is right through %s only: %s carried as single dates, and no more fit the bank", out.Proof.Through, what),
		Hint:    "compile again before that day",
	}
}

// Zones says where other data at hand would feed at other times. The feeder cannot know which are right; its owner can, by a look
// at a clock. The place is that of the zone in a source, or none.
func Zones(used *zone.Zone, now time.Time, src *plan.Source, pos plan.Pos) (ds plan.Diagnostics) {
	others := []*zone.Database{zone.Embedded()}
	if system, err := zone.System(); err == nil && system.Version() != others[0].Version() {
		others = append(others, system)
	}
	for _, db := range others {
		other, err := db.Load(used.Name())
		if err != nil || db.Version() == used.Version() {
			continue
		}
		from := now.Unix()
		at, differs := zone.Differs(used, other, from, LastInstant)
		if !differs {
			continue
		}
		since := time.Unix(at, 0).UTC().Format("2006-01-02 15:04 UTC")
		if at == from {
			since = "now"
		}
		ours, theirs := used.At(at), other.At(at)
		ds = append(ds, plan.Diagnostic{
			Code: codeZoneData, Severity: plan.Warning, Source: src, Pos: pos,
			Message: fmt.Sprintf("time zone data %s and %s (%s) differ for %s from %s on: %s against %s; %s is used",
				used.Version(), db.Version(), db.Name(), used.Name(), since,
				serving.OffsetWords(ours.Abbrev, ours.Seconds), serving.OffsetWords(theirs.Abbrev, theirs.Seconds), used.Version()),
			Hint: "governments change their clocks: the newer data are usually right; --zoneinfo DIR chooses",
		})
	}
	return ds
}

// Data names the time zone data in use, for every report.
func Data(db *zone.Database) string {
	return fmt.Sprintf("time zone data %s (%s)", db.Version(), db.Name())
}

// FirstDay is the first date of a table when none is asked for: 1 January of the year in which the time zone data were
// released. So the same plan and the same data give the same bytes, on whatever day.
func FirstDay(db *zone.Database) table.Day {
	for _, version := range []string{db.Version(), zone.Embedded().Version()} {
		if year, err := strconv.Atoi(version[:min(4, len(version))]); err == nil && year >= 2000 && year <= 2099 {
			jan1 := time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC)
			return table.Day((jan1.Unix() - table.Epoch) / 86400)
		}
	}
	return 0
}
