package main

import (
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/compiler/food/ration"
	"mealtab/compiler/report/fed"
	"mealtab/compiler/report/history/saved"
	"mealtab/compiler/report/serving"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

// fedFlags say where records come from: files, a feeder, or both.
type fedFlags struct {
	portFlags
	saved    []string
	from, to string
}

func (a *app) fedCommand() *cobra.Command {
	var f fedFlags
	format := "text"
	cmd := &cobra.Command{
		Use:   "fed [PLAN]",
		Short: "Compare what was planned with what the feeder recorded, day by day",
		Long: `Compare what was planned with what a feeder recorded, day by day: servings given, late, left out,
given in part or by hand, and a sentence for each week. What was planned comes from the tables that were in
force, which mealtab journal --save keeps beside the records. A PLAN is asked for its pets and food, for
the ration's range.

Records come from files (--saved), and from the feeder if there is no file or a --port is named. What no
record says is shown as not known. A delay is what the records show at least.

A feeder cannot see who eats, or whether anybody does: see the animal and the bowl every day.`,
		Example: `  mealtab fed
  mealtab fed plan.toml --saved kitchen.history
  mealtab fed --saved kitchen.history --port /dev/ttyUSB0 --from 2026-12-01
  mealtab fed --saved kitchen.history --format csv >kitchen.csv`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 1 {
				return usagef("one PLAN at most is wanted")
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			if !slices.Contains(fed.Formats(), format) {
				return usagef("--format %s does not exist: text, json or csv", format)
			}
			r, err := a.fedReport(strings.Join(args, ""), f)
			if err != nil {
				return err
			}
			return r.Write(a.out, format)
		},
	}
	flags := cmd.Flags()
	f.register(flags)
	flags.StringArrayVar(&f.saved, "saved", nil, "`FILE` of mealtab journal --save; may be repeated")
	flags.StringVar(&f.from, "from", "", "first `DATE` (default: that of the first record)")
	flags.StringVar(&f.to, "to", "", "last `DATE` (default: that of the newest reading)")
	flags.StringVar(&format, "format", "text", "text, json or csv")
	return cmd
}

// fedReport compares; planName "": no plan was given.
func (a *app) fedReport(planName string, f fedFlags) (*fed.Report, error) {
	if f.every || len(f.ports) > 1 {
		return nil, usagef("the records of one feeder are compared: name it with one --port")
	}
	log, err := loadSaved(f.saved)
	if err != nil {
		return nil, err
	}
	if len(f.saved) == 0 || len(f.ports) > 0 {
		if log, err = a.withFeeder(log, f.portFlags); err != nil {
			return nil, err
		}
	}
	in := fed.Input{Log: log}
	in.Clock, in.Title = a.fedClock(log)
	if planName != "" {
		if err := a.fedPlan(&in, planName); err != nil {
			return nil, err
		}
	}
	for _, d := range []struct {
		flag, text string
		day        *table.Day
		more       table.Day
	}{{"--from", f.from, &in.From, 0}, {"--to", f.to, &in.To, 1}} {
		if d.text == "" {
			continue
		}
		day, err := moment.Date(d.text)
		if err != nil {
			return nil, usagef("%s: %v", d.flag, err)
		}
		*d.day = day + d.more
	}
	if in.From != 0 && in.To != 0 && in.To <= in.From {
		return nil, usagef("--to lies before --from")
	}
	return fed.Compare(in), nil
}

// withFeeder adds what a feeder remembers.
func (a *app) withFeeder(log *saved.Log, f portFlags) (*saved.Log, error) {
	err := a.each(f, func(s *session) error {
		reading, err := s.reading("")
		if err != nil {
			return err
		}
		if stranger := saved.Same(log, reading); stranger != nil {
			return stranger
		}
		log = saved.Merge(log, reading)
		return nil
	})
	return log, err
}

// fedClock is the local time of the newest plan, and that plan's name.
func (a *app) fedClock(log *saved.Log) (serving.Clock, string) {
	var newest *saved.Table
	var when time.Time
	for _, r := range log.Runs {
		for _, s := range r.States {
			if s.What.Table != nil && !s.What.Computer.Before(when) {
				newest, when = log.Table(*s.What.Table), s.What.Computer
			}
		}
	}
	if newest == nil {
		return zone.UTC(), ""
	}
	held, err := serving.OfTable(newest.Bytes)
	if err != nil {
		return zone.UTC(), ""
	}
	held.Zone = newest.Zone
	a.useZone(held)
	return held.Clock, newest.Plan
}

// fedPlan takes the pets and food of a plan, its name and its clock.
func (a *app) fedPlan(in *fed.Input, name string) error {
	l, err := a.readPlan(name)
	if err != nil {
		return err
	}
	db, err := a.database()
	if err != nil {
		return err
	}
	if in.Clock, err = db.Load(l.plan.Zone); err != nil {
		return err
	}
	in.Title = l.plan.Name
	home, ds := ration.FromPlan(l.plan)
	if home != nil && !ds.HasErrors() && home.Complete() {
		v, _ := home.Compare(0)
		in.Least, in.Most = int64(v.Least), int64(v.Most)
	}
	return nil
}
