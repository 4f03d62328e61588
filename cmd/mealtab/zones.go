package main

import (
	"fmt"
	"time"

	"mealtab/compiler/plan"
	"mealtab/compiler/report/serving"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

// database is the time zone data to use: --zoneinfo, else the newer of system and program.
func (a *app) database() (*zone.Database, error) {
	if a.zoneDir != "" {
		return zone.Dir(a.zoneDir)
	}
	return zone.Default(), nil
}

// zoneWarnings says where other data at hand would feed at other times. The feeder cannot know which are right; its owner
// can, by a look at a clock.
func (a *app) zoneWarnings(used *zone.Zone, src *plan.Source, pos plan.Pos) (ds plan.Diagnostics) {
	others := []*zone.Database{zone.Embedded()}
	if system, err := zone.System(); err == nil && system.Version() != others[0].Version() {
		others = append(others, system)
	}
	for _, db := range others {
		other, err := db.Load(used.Name())
		if err != nil || db.Version() == used.Version() {
			continue
		}
		from := a.now.Unix()
		at, differs := zone.Differs(used, other, from, lastInstant)
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

const codeZoneData plan.Code = "zone-data"

// lastInstant is the end of the table's calendar.
const lastInstant = table.Epoch + (int64(table.MaxDay)+1)*86400

// dataVersion names the data in use, for every report.
func dataVersion(db *zone.Database) string {
	return fmt.Sprintf("time zone data %s (%s)", db.Version(), db.Name())
}
