package main

import (
	"fmt"
	"time"

	"mealtab/cmd/mealtab/internal/serving"
	"mealtab/compiler/plan"
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

// zoneOptions let the reader of plans look up zones and convert times.
func zoneOptions(db *zone.Database) plan.Options {
	loaded := map[string]*zone.Zone{}
	load := func(name string) (z *zone.Zone, err error) {
		if z = loaded[name]; z == nil {
			z, err = db.Load(name)
			loaded[name] = z
		}
		return z, err
	}
	return plan.Options{
		CheckZone: func(name string) error {
			_, err := load(name)
			return err
		},
		Convert: func(name string, l plan.Local, from, to plan.Form) (plan.Local, error) {
			z, err := load(name)
			if err != nil {
				return l, err
			}
			return convert(z, l, from, to), nil
		},
	}
}

// convert changes a time between local and UTC.
func convert(z *zone.Zone, l plan.Local, from, to plan.Form) plan.Local {
	unix := time.Date(l.Year, time.Month(l.Month), l.Day, l.Hour, l.Minute, l.Second, 0, time.UTC).Unix()
	if from != plan.UTC {
		unix, _ = z.Resolve(unix)
	}
	if to != plan.UTC {
		unix += int64(z.At(unix).Seconds)
	}
	t := time.Unix(unix, 0).UTC()
	return plan.Local{Year: t.Year(), Month: int(t.Month()), Day: t.Day(), Hour: t.Hour(), Minute: t.Minute(), Second: t.Second()}
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
