package main

import (
	"cmp"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"

	"github.com/spf13/cobra"

	"mealtab/cmd/mealtab/internal/known"
	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/cmd/mealtab/internal/tablefile"
	"mealtab/compiler/report/compare"
	"mealtab/compiler/report/serving"
	"mealtab/flasher"
	"mealtab/flasher/ports"
)

type compareFlags struct{ from, format string }

func (a *app) compareCommand() *cobra.Command {
	var f compareFlags
	cmd := &cobra.Command{
		Use:   "compare A B",
		Short: "Say by what two plans, tables or feeders feed differently",
		Long: `Compare two of: a plan, a calendar, a table, a feeder (by the name of its port). It says from which
instant on they feed differently, what the week and the year from then differ by, how many servings
differ to the end of the tables, and what else does, such as how late a missed serving is still given.
Amounts are those of the plan: weights where both sides know what a pocket holds, else pockets.
What lies before the present is not compared, unless --from says so.

Exit code 0: they feed the same. 1: they do not.`,
		Example: `  mealtab compare plan.toml old.toml
  mealtab compare plan.toml /dev/ttyUSB0        is this plan on the feeder?
  mealtab compare meals.ics plan.table --format json`,
		Args: wants("A", "B"),
		RunE: func(_ *cobra.Command, args []string) error { return a.runCompare(args[0], args[1], f) },
	}
	cmd.Flags().StringVar(&f.from, "from", "now", "compare from `T` on: "+moment.Forms)
	cmd.Flags().StringVar(&f.format, "format", "text", "text or json: `FORMAT` of the output")
	return cmd
}

func (a *app) runCompare(first, second string, f compareFlags) error {
	if f.format != "text" && f.format != "json" {
		return usagef("--format: there is no format %q; text and json are", f.format)
	}
	one, err := a.side(first)
	if err != nil {
		return err
	}
	other, err := a.side(second)
	if err != nil {
		return err
	}
	from, err := moment.Parse(f.from, one.Schedule.Clock, a.now)
	if err != nil {
		return usagef("--from: %v", err)
	}
	r := compare.Schedules(one, other, from.At)
	if f.format == "json" {
		err = r.JSON(a.out)
	} else {
		_, err = fmt.Fprint(a.out, r.Text())
	}
	if err == nil && !r.Equal() {
		err = errReported
	}
	return err
}

// portLike is how the names of ports begin, which no file is called by mistake.
var portLike = regexp.MustCompile(`^(/dev/|COM[0-9]|tcp:|rfc2217:)`)

// side reads one of the two to compare.
func (a *app) side(name string) (compare.Side, error) {
	info, err := os.Stat(name)
	switch {
	case err == nil && info.Mode().IsRegular(), name == "-":
		s, err := a.fileSchedule(name)
		return compare.Side{Name: name, Schedule: s}, err
	case portLike.MatchString(name):
		s, err := a.feederSchedule(name)
		return compare.Side{Name: ports.ShortName(name), Schedule: s}, err
	case err != nil:
		return compare.Side{}, fmt.Errorf("%s: there is no such file, and no port is called so", name)
	}
	return compare.Side{}, fmt.Errorf("%s is neither a file nor a port", name)
}

// fileSchedule is that of a plan, or of a table with the names that are known of it.
func (a *app) fileSchedule(name string) (*serving.Schedule, error) {
	src, err := a.read(name)
	if err != nil {
		return nil, err
	}
	if tablefile.Is(filepath.Base(name), src) {
		tab, err := tablefile.Read(src)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		return namedSchedule(tab)
	}
	l, err := a.loadPlan(name, src)
	if err != nil {
		return nil, err
	}
	c, err := a.compile(l, compileOptions{})
	if err != nil {
		return nil, err
	}
	return c.schedule(), nil
}

func namedSchedule(tab []byte) (*serving.Schedule, error) {
	s, err := serving.OfTable(tab)
	if err != nil {
		return nil, err
	}
	if n, ok := known.Of(tab); ok {
		s.Names, s.Title = n.Meals, n.Plan
	}
	return s, nil
}

// feederSchedule is that of the table in force on a feeder.
func (a *app) feederSchedule(port string) (s *serving.Schedule, err error) {
	if err := ports.CheckName(port); err != nil {
		return nil, usagef("%v", err)
	}
	err = a.each(portFlags{ports: []string{port}}, func(talk *session) error {
		_, tab, err := inForce(talk.Feeder)
		if err != nil {
			return err
		}
		if s, err = namedSchedule(tab); err != nil {
			return flasher.Named(port, err)
		}
		return nil
	})
	if err == nil && s == nil {
		err = errors.New(port + ": no table could be read")
	}
	return s, err
}

// sinceText says what a plan alters against an earlier one, for check --since.
func (a *app) sinceText(c *compiled, earlier string) (string, error) {
	before, err := a.side(earlier)
	if err != nil {
		return "", err
	}
	now := compare.Side{Name: cmp.Or(c.plan.Source.Name, "the plan"), Schedule: c.schedule()}
	return compare.Schedules(now, before, moment.Minute(a.now)).Text(), nil
}
