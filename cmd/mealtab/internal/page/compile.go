package page

import (
	"time"

	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/cmd/mealtab/internal/remarks"
	"mealtab/compiler"
	"mealtab/compiler/plan"
	"mealtab/compiler/profile"
	"mealtab/compiler/reader"
	"mealtab/compiler/report/review"
	"mealtab/compiler/zone"
)

// Compile does what mealtab check does, with everything there is to say as diagnostics. The name is that of the plan's file, beside
// which a board of its own is looked for.
func Compile(db *zone.Database, now time.Time, name string, src []byte) *Compiled {
	out := &Compiled{ZoneData: remarks.Data(db)}
	fail := func(err error) *Compiled {
		out.Diagnostics = append(out.Diagnostics, plan.Diagnostic{Severity: plan.Error, Message: err.Error()})
		return out
	}
	p, ds := reader.With(db).Parse(name, src)
	out.Plan, out.Diagnostics = p, ds
	if p == nil {
		return out
	}
	var err error
	if out.Zone, err = db.Load(p.Zone); err != nil {
		return fail(err)
	}
	if out.Board, err = profile.LoadFor(name, p.Board); err != nil {
		out.Diagnostics = append(ds, plan.Diagnostic{Severity: plan.Error, Source: p.Source, Pos: p.Where.Board, Message: err.Error()})
		return out
	}
	ds = append(ds, remarks.Zones(out.Zone, now, p.Source, p.Where.Zone)...)
	output, err := compiler.Compile(p, out.Zone, compiler.Options{Board: out.Board, From: remarks.FirstDay(db)})
	if err != nil {
		return fail(err)
	}
	out.Output = output
	in := review.Input{Plan: p, Zone: out.Zone, Table: output.Table, MealOf: output.MealOf, Now: moment.Minute(now)}
	out.Diagnostics = append(ds, remarks.About(in, output)...).Sort()
	return out
}
