package main

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/cmd/mealtab/internal/remarks"
	"mealtab/compiler/plan"
	"mealtab/compiler/replay"
	"mealtab/compiler/report/serving"
	"mealtab/compiler/table"
)

type replayFlags struct {
	from, to, format, preset string
	count                    int
	utc                      bool
}

func (a *app) replayCommand() *cobra.Command {
	var f replayFlags
	cmd := &cobra.Command{
		Use:   "replay TABLE|PLAN",
		Short: "Show when the feeder will feed",
		Long: `Show the servings of a table: when, what, how many pockets the wheel turns.
A PLAN is compiled and proved first, so that what you see is what the feeder will do.

Times are local, with the zone's abbreviation. A table carries no names: of a bare TABLE the
meals are numbered and the zone is shown as its distance from UTC.
The remainder of a portion is carried to the next serving; it is always counted from the
beginning of the table, so that a serving has the same pockets whatever --from says.`,
		Example: `  mealtab replay plan.toml
  mealtab replay plan.table --from 2027-03-27 --to 2027-03-29
  mealtab replay plan.toml --from 2027-01-01 --count 3 --utc
  mealtab replay plan.toml --format ics >meals.ics
  mealtab replay plan.toml --preset away --format json`,
		Args: one("TABLE or PLAN"),
		RunE: func(cmd *cobra.Command, args []string) error { return a.runReplay(cmd, args[0], f) },
	}
	flags := cmd.Flags()
	flags.SortFlags = false
	flags.StringVar(&f.from, "from", "now", "begin at `T`: 2027-03-28, 2027-03-28T03:30 (local time), 2027-03-28T02:30Z, today, now")
	flags.StringVar(&f.to, "to", "", "end before `T`; a date belongs to the replay as a whole")
	flags.IntVar(&f.count, "count", 20, "at most `N` servings; 0: no limit. Without --count and --to, json, csv and ics cover a year")
	flags.StringVar(&f.format, "format", "text", "`FORMAT`: text, json, csv (a row for each meal), ics (for calendar programs)")
	flags.StringVar(&f.preset, "preset", "", "preset in force: its `NAME` or number, or all (default: the first)")
	flags.BoolVar(&f.utc, "utc", false, "show UTC instead of local time (text)")
	return cmd
}

var replayFormats = []string{"text", "json", "csv", "ics"}

func (a *app) runReplay(cmd *cobra.Command, name string, f replayFlags) error {
	if !slices.Contains(replayFormats, f.format) {
		return usagef("--format %s does not exist: %s", f.format, strings.Join(replayFormats, ", "))
	}
	if f.count < 0 {
		return usagef("--count %d is negative", f.count)
	}
	bytes, c, err := a.loadTable(name)
	if err != nil {
		return err
	}
	s, err := newSchedule(bytes, c)
	if err != nil {
		return err
	}
	preset, err := choosePreset(s.Table, c, f.preset)
	if err != nil {
		return err
	}
	r, err := a.replayRange(s, f)
	if err != nil {
		return err
	}
	if f.format != "text" && !cmd.Flags().Changed("count") {
		f.count = 0
		if f.to == "" {
			r.To = min(r.To, r.From+366*table.MinutesPerDay)
		}
	}
	if cmd.Flags().Changed("from") {
		a.noteStart(s, r)
	}
	r.Until = replay.PresetEnd(s.Table)
	list := s.Walk(r, preset)
	if f.format == "text" {
		return a.replayText(s, c, list, r, f)
	}
	if c != nil {
		fmt.Fprintf(a.err, "%s, %s, %s\n", title(c.plan), c.plan.Zone, remarks.Data(c.db))
	}
	return a.replayExport(s, list, f)
}

// newSchedule is that of a compiled plan, or of a bare table.
func newSchedule(bytes []byte, c *compiled) (*serving.Schedule, error) {
	if c != nil {
		return c.schedule(), nil
	}
	return serving.OfTable(bytes)
}

// choosePreset finds a preset by name or number; the board begins with the first.
func choosePreset(t *table.Table, c *compiled, want string) (int, error) {
	if t.Presets == 0 && want == "" || want == "all" {
		return -1, nil
	}
	if want == "" {
		return 0, nil
	}
	var names []string
	if c != nil {
		names = c.plan.Presets
	}
	if i := slices.Index(names, want); i >= 0 {
		return i, nil
	}
	if n, err := strconv.Atoi(want); err == nil && n >= 1 && n <= t.Presets {
		return n - 1, nil
	}
	switch {
	case t.Presets == 0:
		return 0, fmt.Errorf("there are no presets, so none is called %q", want)
	case names == nil:
		return 0, fmt.Errorf("a table knows its presets by number only: 1 to %d", t.Presets)
	}
	return 0, fmt.Errorf("no preset is called %q; there are %s", want, strings.Join(names, ", "))
}

func (a *app) replayRange(s *serving.Schedule, f replayFlags) (serving.Range, error) {
	from, err := moment.Parse(f.from, s.Clock, a.now)
	if err != nil {
		return serving.Range{}, usagef("--from: %v", err)
	}
	r := serving.Range{From: from.At, To: serving.End(s.Table)}
	if f.to == "" {
		return r, nil
	}
	to, err := moment.Parse(f.to, s.Clock, a.now)
	if err != nil {
		return serving.Range{}, usagef("--to: %v", err)
	}
	if to.End <= r.From {
		return serving.Range{}, usagef("--to %s is not after --from %s", f.to, f.from)
	}
	r.To = to.End
	return r, nil
}

// noteStart says that a table serves nothing before its first day, whatever its plan says of the time before.
func (a *app) noteStart(s *serving.Schedule, r serving.Range) {
	day := s.Table.Start.String()
	start, err := moment.Parse(day, s.Clock, a.now)
	if err == nil && r.From < start.At {
		fmt.Fprintf(a.err, "the table begins on %s and serves nothing before; its first day can be chosen with mealtab compile --from\n", day)
	}
}

func (a *app) replayText(s *serving.Schedule, c *compiled, list *serving.Cursor, r serving.Range, f replayFlags) error {
	if c != nil {
		fmt.Fprintf(a.out, "%s, %s, %s\n", title(c.plan), c.plan.Zone, remarks.Data(c.db))
	}
	out := &serving.Text{Out: a.out, UTC: f.utc}
	n := 0
	for ; f.count == 0 || n < f.count; n++ {
		next, ok := list.Next()
		if !ok {
			break
		}
		if err := out.Write(next); err != nil {
			return err
		}
	}
	if n == 0 {
		fmt.Fprintf(a.out, "nothing is served from %s to %s\n", shownAt(s.Clock, r.From, f.utc), shownAt(s.Clock, r.To, f.utc))
	}
	return nil
}

// shownAt is an instant as servings show theirs.
func shownAt(c serving.Clock, at table.Minute, utc bool) string {
	if utc {
		return at.Time().Format(serving.TimeLayout)
	}
	return serving.Local(c, at.Time()).Format(serving.TimeLayout)
}

func (a *app) replayExport(s *serving.Schedule, list *serving.Cursor, f replayFlags) error {
	s.Written = a.now
	out, err := s.NewWriter(f.format, a.out)
	if err != nil {
		return err
	}
	for n := 0; f.count == 0 || n < f.count; n++ {
		next, ok := list.Next()
		if !ok {
			break
		}
		if err := out.Write(next); err != nil {
			return err
		}
	}
	return out.Close()
}

// title is the plan's name, or that of its file.
func title(p *plan.Plan) string { return cmp.Or(p.Name, p.Source.Name) }
