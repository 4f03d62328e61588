package main

import (
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/cmd/mealtab/internal/remarks"
	"mealtab/cmd/mealtab/internal/ruletext"
	"mealtab/compiler/plan"
	"mealtab/compiler/plan/describe"
	"mealtab/compiler/prose"
	"mealtab/compiler/reader"
	"mealtab/compiler/recur"
	"mealtab/compiler/report/serving"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

type ruleFlags struct {
	ruletext.Input
	from  string
	count int
	omit  bool
	utc   bool
}

func (a *app) ruleCommand() *cobra.Command {
	var f ruleFlags
	cmd := &cobra.Command{
		Use:   "rule RRULE",
		Short: "Say what a recurrence rule means",
		Long: `Say in words what a recurrence rule (RFC 5545 RRULE) means, and show its next instances, before
it goes into a plan. What is wrong with it is shown at its place, as for a plan.

What the rule leaves open comes from --dtstart: the time of day, and where needed the weekday or
the day of the month.`,
		Example: `  mealtab rule 'FREQ=WEEKLY;BYDAY=MO,WE,FR' --dtstart 2026-12-01T07:00 --zone Europe/Lisbon
  mealtab rule 'FREQ=MONTHLY;BYDAY=-1FR' --dtstart 2026-12-25T18:00 --zone America/Lima --count 5
  mealtab rule 'FREQ=DAILY' --at 07:00,18:30 --zone Europe/Lisbon
  mealtab rule 'FREQ=MONTHLY;RSCALE=GREGORIAN;SKIP=BACKWARD' --dtstart 2027-01-31T08:00 \
      --zone Asia/Tokyo`,
		Args: one("RRULE"),
		RunE: func(_ *cobra.Command, args []string) error {
			f.Rule = args[0]
			return a.runRule(f)
		},
	}
	flags := cmd.Flags()
	flags.SortFlags = false
	flags.StringVar(&f.Start, "dtstart", "", "when it begins: a local time `T` (2026-12-01T07:00), or UTC with Z")
	flags.StringVar(&f.Zone, "zone", "", "IANA time zone `NAME`, such as Europe/Lisbon (needed)")
	flags.StringSliceVar(&f.At, "at", nil, "`LIST` of times of day, as at in a plan: 07:00,18:30")
	flags.StringSliceVar(&f.RDate, "rdate", nil, "`LIST` of extra times: 2026-12-25T10:00,2026-12-26T10:00")
	flags.StringSliceVar(&f.ExDate, "exdate", nil, "`LIST` of times or dates to leave out: 2026-12-24T07:00,2026-12-25")
	flags.StringVar(&f.from, "from", "now", "show instances from `T` on")
	flags.IntVar(&f.count, "count", 10, "show `N` instances")
	flags.BoolVar(&f.omit, "omit-gaps", false, "leave out times that the clocks skip, as gap = \"omit\" in a plan")
	flags.BoolVar(&f.utc, "utc", false, "show UTC instead of local time")
	return cmd
}

func (a *app) runRule(f ruleFlags) error {
	if f.count < 1 {
		return usagef("--count %d: at least one instance is wanted", f.count)
	}
	if f.Zone == "" {
		return usagef("--zone is missing: a rule is in local time; write for example --zone Europe/Lisbon")
	}
	db, err := a.database()
	if err != nil {
		return err
	}
	p, ds := f.Parse(reader.With(db))
	if p == nil {
		if err := a.report(ds); err != nil {
			return err
		}
		return errReported
	}
	z, err := db.Load(p.Zone)
	if err != nil {
		return err
	}
	from, err := moment.Parse(f.from, z, a.now)
	if err != nil {
		return usagef("--from: %v", err)
	}
	if f.omit {
		p.Gap = plan.GapOmit
	}
	set, err := recur.New(p.Meals[0].Set, z, p.Gap)
	if err != nil {
		return err
	}
	if !set.StartMatches() && f.Start != "" {
		ds = append(ds, plan.Diagnostic{Code: plan.CodeStart, Severity: plan.Warning, Source: plan.NewSource("--dtstart", []byte(f.Start)),
			Pos: plan.Pos{Line: 1, Col: 1, Len: len(f.Start)}, Message: "this is not a time of the rule, and no instance of it"})
	}
	if err := a.report(append(ds, remarks.Zones(z, a.now, nil, plan.Pos{})...)); err != nil {
		return err
	}
	fmt.Fprint(a.out, prose.Wrap("", describe.Set(p.Meals[0].Set)))
	fmt.Fprintf(a.out, "%s, %s\n\n", p.Zone, remarks.Data(db))
	return a.instances(set, z, from.At, f)
}

// instances lists the next instances of a set.
func (a *app) instances(set *recur.Set, z *zone.Zone, from table.Minute, f ruleFlags) error {
	cursor, shown := set.Instants(), 0
	for shown < f.count {
		in, ok := cursor.Next()
		if !ok {
			break
		}
		if in.Unix < from.Time().Unix() {
			continue
		}
		shown++
		if _, err := fmt.Fprintln(a.out, "  "+instanceText(in, z, f.utc)); err != nil {
			return err
		}
	}
	switch {
	case shown == 0:
		fmt.Fprintf(a.out, "  no instance from %s on\n", shownAt(z, from, f.utc))
	case shown < f.count:
		fmt.Fprintln(a.out, "  and no more through 2099-12-31")
	}
	return nil
}

// instanceText shows an instance, with a note where its local time does not exist or happens twice.
func instanceText(in recur.Instance, z *zone.Zone, utc bool) string {
	at := serving.Local(z, time.Unix(in.Unix, 0))
	if utc {
		at = at.UTC()
	}
	text := at.Format(serving.TimeLayout)
	nominal := time.Unix(in.Nominal, 0).UTC().Format("15:04")
	switch in.Kind {
	case zone.Gap:
		text += fmt.Sprintf("  (the clocks skip %s that day)", nominal)
	case zone.Overlap:
		text += fmt.Sprintf("  (the first of two times the clock shows %s)", nominal)
	}
	return strings.TrimRight(text, " ")
}
