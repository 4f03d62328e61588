package main

import (
	"fmt"
	"io"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/spf13/cobra"

	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/cmd/mealtab/internal/remarks"
	"mealtab/compiler/food/ration"
	"mealtab/compiler/plan"
	"mealtab/compiler/plan/describe"
	"mealtab/compiler/prose"
	"mealtab/compiler/replay"
	"mealtab/compiler/report/review"
	"mealtab/compiler/report/serving"
	"mealtab/compiler/units"
)

type checkFlags struct {
	compileOptions
	utc, strict bool
	since       string
}

func (a *app) checkCommand() *cobra.Command {
	var f checkFlags
	cmd := &cobra.Command{
		Use:   "check PLAN",
		Short: "Say whether a plan is right, and what it will do",
		Long: `Read a plan, report every error and everything that is probably not meant, and show what the
plan will do: food per day and week, the longest time without food, how long the hopper lasts, the
next servings, and the odd days of the next three years. Of a plan with presets it reports the food
of each, and the next servings with the first. The plan is compiled and proved on the way;
nothing is written.

Errors and warnings go to standard error, the report to standard output.`,
		Example: `  mealtab check plan.toml
  mealtab check plan.toml --strict          warnings fail too (exit code 1)
  mealtab check plan.toml --now 2027-03-01  as it will be seen on that day
  mealtab check meals.ics --since /dev/ttyUSB0   what the changed calendar alters on the feeder
  mealtab check - <plan.toml`,
		Args: one("PLAN"),
		RunE: func(_ *cobra.Command, args []string) error { return a.runCheck(args[0], f) },
	}
	flags := cmd.Flags()
	flags.SortFlags = false
	flags.StringVar(&f.board, "board", "", "board profile: a `NAME`, or the path of a TOML file (default: the plan's)")
	flags.BoolVar(&f.utc, "utc", false, "show the next servings in UTC")
	flags.StringVar(&f.since, "since", "", "say too what the plan alters against `EARLIER`: a table, an earlier plan, or a feeder by its port")
	flags.BoolVar(&f.strict, "strict", false, "let warnings fail: exit code 1")
	return cmd
}

func (a *app) runCheck(name string, f checkFlags) error {
	src, err := a.read(name)
	if err != nil {
		return err
	}
	return a.check(name, src, f)
}

func (a *app) check(name string, src []byte, f checkFlags) error {
	l, err := a.loadPlan(name, src)
	if err != nil {
		return err
	}
	c, err := a.compile(l, f.compileOptions)
	if err != nil {
		return err
	}
	home, faults := a.pets(c)
	ds := append(a.warnings(c), faults...).Sort()
	if err := a.reportAll(ds); err != nil {
		return err
	}
	if ds.HasErrors() {
		return errReported
	}
	if err := a.checkReport(c, home, f); err != nil {
		return err
	}
	fmt.Fprintf(a.out, "\nno errors, %s\n", units.Count(len(ds), "warning"))
	if f.strict && len(ds) > 0 {
		return fmt.Errorf("%s, and --strict lets none pass", units.Count(len(ds), "warning"))
	}
	return nil
}

// checkReport writes the report as one text.
func (a *app) checkReport(c *compiled, home *ration.Household, f checkFlags) error {
	in := a.reviewInput(c)
	var b strings.Builder
	end := a.waiting("looking ahead: amounts, servings, odd days")
	defer end()
	a.heading(&b, c)
	meals(&b, c.plan)
	presetsInForce(&b, c, a.now)
	for _, preset := range presets(c) {
		food(&b, c, in, preset)
		a.refill(&b, c, preset)
		a.wheelAmounts(&b, c, preset)
	}
	if home != nil {
		a.verdicts(&b, home, c)
	}
	if err := a.next(&b, c, f.utc); err != nil {
		return err
	}
	ahead(&b, in)
	if f.since != "" {
		text, err := a.sinceText(c, f.since)
		if err != nil {
			return err
		}
		fmt.Fprintf(&b, "\nSince %s\n", f.since)
		for line := range strings.Lines(text) {
			b.WriteString("  " + line)
		}
	}
	end()
	_, err := io.WriteString(a.out, b.String())
	return err
}

func (a *app) reviewInput(c *compiled) review.Input {
	return review.Input{Plan: c.plan, Zone: c.zone, Table: c.Table, MealOf: c.MealOf, Now: moment.Minute(a.now)}
}

func (a *app) heading(b *strings.Builder, c *compiled) {
	now := c.zone.At(a.now.Unix())
	fmt.Fprintf(b, "%s\n", title(c.plan))
	fmt.Fprintf(b, "  zone   %s, now %s; %s\n", c.plan.Zone, serving.OffsetWords(now.Abbrev, now.Seconds), remarks.Data(c.db))
	fmt.Fprintf(b, "  table  %d of %d bytes for %s; %s servings proved through %s\n",
		len(c.Bytes), c.Capacity, c.board.Name, units.Thousands(c.Proof.Instants), c.Proof.Through)
}

// meals says in words what each meal is.
func meals(b *strings.Builder, p *plan.Plan) {
	fmt.Fprint(b, "\nMeals\n")
	width := 0
	for i := range p.Meals {
		width = max(width, utf8.RuneCountInString(p.Meals[i].Name))
	}
	for i := range p.Meals {
		m := &p.Meals[i]
		head := fmt.Sprintf("  %s  %9s  ", serving.Pad(m.Name, min(width, 24)), m.Portion)
		b.WriteString(prose.Wrap(head, describe.Set(m.Set)+inPresets(p, m)))
	}
}

// presetsInForce says which preset a feeder begins with, what its button steps through, and when another ends by itself.
func presetsInForce(b *strings.Builder, c *compiled, now time.Time) {
	p := c.plan
	if len(p.Presets) < 2 {
		return
	}
	fmt.Fprint(b, "\nPresets\n")
	b.WriteString(prose.Wrap("  ", fmt.Sprintf("%s is in force at first; the plan button steps through %s, and mealtab preset chooses one", p.Presets[0], strings.Join(p.Presets, ", "))))
	if p.PresetUntil.IsZero() {
		return
	}
	day := p.PresetUntil.DayInWords()
	if end := replay.PresetEnd(c.Table); end == 0 || end <= moment.Minute(now) {
		b.WriteString(prose.Wrap("  ", fmt.Sprintf("no preset ends by itself any more: preset-until, %s, has passed", day)))
		return
	}
	b.WriteString(prose.Wrap("  ", fmt.Sprintf("on %s at 00:00 another one than %s ends by itself, and %s is in force again", day, p.Presets[0], p.Presets[0])))
}

// inPresets names the presets of a meal that is not in all.
func inPresets(p *plan.Plan, m *plan.Meal) string {
	var names []string
	for i, name := range p.Presets {
		if m.Presets>>i&1 != 0 {
			names = append(names, name)
		}
	}
	if len(names) == 0 || len(names) == len(p.Presets) {
		return ""
	}
	return "; only with " + strings.Join(names, ", ")
}

// shownNext is how many of the next servings check shows.
const shownNext = 6

func (a *app) next(b *strings.Builder, c *compiled, utc bool) error {
	s, preset := c.schedule(), presets(c)[0]
	fmt.Fprintf(b, "\nNext servings%s\n", withPreset(c, preset))
	list := s.Walk(serving.Range{From: moment.Minute(a.now), To: serving.End(s.Table)}, preset).Take(shownNext)
	if len(list) == 0 {
		fmt.Fprint(b, "  none\n")
	}
	out := serving.Text{Out: indented{b}, UTC: utc}
	for _, s := range list {
		if err := out.Write(s); err != nil {
			return err
		}
	}
	return nil
}

// indented writes lines two characters to the right.
type indented struct{ b *strings.Builder }

func (w indented) Write(p []byte) (int, error) {
	for line := range strings.Lines(string(p)) {
		w.b.WriteString("  " + line)
	}
	return len(p), nil
}

// shownAhead is how many odd days check lists.
const shownAhead = 24

func ahead(b *strings.Builder, in review.Input) {
	list := review.Surprises(in)
	if len(list) == 0 {
		return
	}
	fmt.Fprint(b, "\nOdd days in the next three years\n")
	for i, s := range list {
		if i == shownAhead {
			fmt.Fprintf(b, "  and %d more\n", len(list)-shownAhead)
			break
		}
		b.WriteString(prose.Wrap("  "+s.Date()+"  ", s.Text))
	}
}
