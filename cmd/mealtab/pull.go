package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"mealtab/cmd/mealtab/internal/remarks"
	"mealtab/compiler/decompile"
	"mealtab/compiler/plan/describe"
	"mealtab/compiler/prose"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
	"mealtab/flasher"
)

type pullFlags struct {
	portFlags
	output, zone string
	raw, force   bool
}

func (a *app) pullCommand() *cobra.Command {
	var f pullFlags
	cmd := &cobra.Command{
		Use:   "pull",
		Short: "Read the table of a feeder back as a plan",
		Long: `Read the table that is in force on a feeder and turn it back into a plan that compiles to the same
bytes. A table has no names: those of meals, presets and the zone are invented or found out, and the
plan says which. Where no plan gives the same bytes, that is said too. A plan that is there already is not
written over.`,
		Example: `  mealtab pull -o pulled.toml
  mealtab pull --zone Europe/Lisbon
  mealtab pull --table -o feeder.table      the bytes themselves`,
		Args: none,
		RunE: func(*cobra.Command, []string) error { return a.runPull(f) },
	}
	flags := cmd.Flags()
	f.register(flags)
	flags.StringVarP(&f.output, "output", "o", "-", "`FILE` to write; - is standard output; with several feeders, the port's name is added")
	flags.StringVar(&f.zone, "zone", "", "the feeder is in this `ZONE` (default: this computer's, if it is the table's)")
	flags.BoolVar(&f.raw, "table", false, "write the table itself, no plan")
	flags.BoolVar(&f.force, "force", false, "write over a plan, or with --table over a file that is not a table")
	return cmd
}

func (a *app) runPull(f pullFlags) error {
	db, err := a.database()
	if err != nil {
		return err
	}
	if f.zone != "" {
		if _, err := db.Load(f.zone); err != nil {
			return usagef("--zone: %v", err)
		}
	}
	k := kindPlan
	if f.raw {
		k = kindTable
	}
	several := f.every || len(f.ports) > 1
	if !several { // else each has a name of its own
		if err := a.mayReplace(f.output, k, f.force); err != nil {
			return err
		}
	}
	return a.each(f.portFlags, func(s *session) error {
		output := f.output
		if several && output != "-" {
			ext := filepath.Ext(output)
			output = strings.TrimSuffix(output, ext) + "-" + strings.ReplaceAll(s.Port(), string(os.PathSeparator), "-") + ext
		}
		if err := a.mayReplace(output, k, f.force); err != nil {
			return err
		}
		_, tab, err := inForce(s.Feeder)
		if err != nil {
			return err
		}
		tab = table.WithSequence(tab, 0)
		if f.raw {
			return s.writeTable(tab, output)
		}
		from := remarks.FirstDay(db)
		t, err := table.Decode(tab)
		if err != nil {
			return err
		}
		r, err := decompile.Table(tab, db, decompile.Options{Zones: likelyZones(f.zone), Always: t.Start == from})
		if err != nil {
			return flasher.Named(s.Port(), err)
		}
		if f.zone != "" && r.Plan.Zone != f.zone {
			return fmt.Errorf("%s: the table does not keep the clock of %s, but that of %s; leave --zone out to get it as it is (nothing was written)", s.Port(), f.zone, r.Plan.Zone)
		}
		return s.writePlan(r, output, r.From > 0 && r.From < from)
	})
}

// writeTable writes the bytes as they are, for which a terminal is no place.
func (s *session) writeTable(tab []byte, output string) error {
	if output == "-" && isTerminal(s.a.out) {
		return usagef("--table writes bytes, which a terminal cannot show: add --output FILE; mealtab listing shows what they mean")
	}
	if err := s.a.write(output, tab); err != nil {
		return err
	}
	if output != "-" {
		fmt.Fprintf(&s.out, "%s -> %s: %s\n", s.Port(), output, units.Count(len(tab), "byte"))
	}
	return nil
}

// writePlan writes the plan with what there is to say about it.
func (s *session) writePlan(r *decompile.Result, output string, needsFrom bool) error {
	var b strings.Builder
	fmt.Fprintf(&b, "# Read from the feeder on %s, %s.\n", s.Port(), s.a.now.UTC().Format("2006-01-02 15:04 UTC"))
	b.WriteString("# The feeder keeps no names: give the meals yours.\n")
	for _, note := range r.Notes {
		b.WriteString(prose.Wrap("# ", note))
	}
	exact := "compiles to the bytes on the feeder"
	if needsFrom {
		exact += fmt.Sprintf(" with --from %s", dayText(r.From))
	}
	if r.Exact {
		fmt.Fprintf(&b, "# This plan %s.\n", exact)
	}
	text := strings.ReplaceAll(b.String(), "\n  ", "\n# ") + "\n" + r.TOML()
	if err := s.a.write(output, []byte(text)); err != nil {
		return err
	}
	if output == "-" {
		return nil
	}
	fmt.Fprintf(&s.out, "%s -> %s: %s\n", s.Port(), output, units.Count(len(r.Plan.Meals), "meal"))
	for _, m := range r.Plan.Meals {
		s.out.WriteString(prose.Wrap("  ", fmt.Sprintf("%s, %s", m.Portion, describe.Set(m.Set))))
	}
	if r.Exact {
		fmt.Fprintf(&s.out, "  the plan %s\n", exact)
		return nil
	}
	for _, note := range r.Notes {
		s.out.WriteString(prose.Wrap("  ", note))
	}
	return nil
}

// likelyZones are the zone that was named and this computer's.
func likelyZones(named string) []string {
	var list []string
	if named != "" {
		list = append(list, named)
	}
	if tz := strings.TrimPrefix(os.Getenv("TZ"), ":"); tz != "" {
		return append(list, tz)
	}
	if target, err := os.Readlink("/etc/localtime"); err == nil {
		if _, name, found := strings.Cut(target, "zoneinfo/"); found {
			list = append(list, name)
		}
	}
	return list
}
