package main

import (
	_ "embed"
	"fmt"

	"github.com/spf13/cobra"

	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/cmd/mealtab/internal/remarks"
	"mealtab/compiler/report/serving"
	"mealtab/compiler/table"
)

// demoPlan is the built-in plan: an invented household.
//
//go:embed demo.toml
var demoPlan []byte

const demoName = "demo.toml"

func (a *app) demoCommand() *cobra.Command {
	var printPlan bool
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "Do the whole job on a built-in plan",
		Long: `Do the whole job on a built-in plan of an invented household: check it, compile and prove it, list
its bytes, replay its next servings and the night in which the clocks change. Nothing is written.`,
		Example: `  mealtab demo
  mealtab demo --plan >demo.toml   the plan itself, to start your own from`,
		Args: none,
		RunE: func(*cobra.Command, []string) error {
			if printPlan {
				_, err := a.out.Write(demoPlan)
				return err
			}
			return a.demo()
		},
	}
	cmd.Flags().BoolVar(&printPlan, "plan", false, "print the plan and do nothing else")
	return cmd
}

func (a *app) demo() error {
	l, err := a.loadPlan(demoName, demoPlan)
	if err != nil {
		return err
	}
	c, err := a.compile(l, compileOptions{})
	if err != nil {
		return err
	}
	a.step(1, "The plan, as its owner writes it", "mealtab demo --plan")
	fmt.Fprintf(a.out, "%s\n", demoPlan)
	a.step(2, "Is it right, and what will it do?", "mealtab check demo.toml")
	if err := a.check(demoName, demoPlan, checkFlags{}); err != nil {
		return err
	}
	a.step(3, "Make the table, and prove it", "mealtab compile demo.toml")
	if err := c.summary(a.out, demoName, "demo.table (not written: this is a demo)"); err != nil {
		return err
	}
	a.step(4, "Every byte explained", "mealtab listing demo.table")
	if err := a.listing(c.Bytes); err != nil {
		return err
	}
	if err := a.demoNext(c); err != nil {
		return err
	}
	return a.demoNight(c)
}

// demoNext replays the next servings.
func (a *app) demoNext(c *compiled) error {
	a.step(5, "When will it feed?", "mealtab replay demo.toml --count 4")
	s := c.schedule()
	r := serving.Range{From: moment.Minute(a.now), To: serving.End(s.Table)}
	return a.replayText(s, c, s.Walk(r, presets(c)[0]), r, replayFlags{count: 4})
}

// demoNight shows the days around the next change of the clocks, from the replay of the table.
func (a *app) demoNight(c *compiled) error {
	from := moment.Minute(a.now)
	if start := table.Minute(c.Table.Start) * table.MinutesPerDay; from < start {
		from = start
	}
	changes := c.zone.Transitions(from.Time().Unix(), remarks.LastInstant)
	if len(changes) == 0 {
		return nil
	}
	night := table.MinuteOf(changes[0].At)
	eve, day := c.local(night - table.MinutesPerDay)[4:14], c.local(night)[4:14]
	a.step(6, "The night the clocks change", fmt.Sprintf("mealtab replay demo.toml --from %s --to %s", eve, day))
	s := c.schedule()
	f := replayFlags{from: eve, to: day}
	r, err := a.replayRange(s, f)
	if err != nil {
		return err
	}
	return a.replayText(s, c, s.Walk(r, presets(c)[0]), r, f)
}

func (a *app) step(n int, what, command string) {
	if n > 1 {
		fmt.Fprintln(a.out)
	}
	bold, reset := "", ""
	if colored(a.out) {
		bold, reset = "\x1b[1m", "\x1b[0m"
	}
	fmt.Fprintf(a.out, "%s== %d. %s%s   %s\n\n", bold, n, what, reset, "$ "+command)
}
