package main

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"mealtab/compiler/food/calibrate"
	"mealtab/compiler/plan"
	"mealtab/compiler/profile"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
)

type calibrateFlags struct {
	portFlags
	live                 bool
	pockets              int
	weighed, csv         string
	listed               bool // --weighed or --csv was given, though it may be empty
	without              []int
	asked, turned        float64
	still, creep, creeps string
	write, anyway        bool
}

func (a *app) calibrateCommand() *cobra.Command {
	var f calibrateFlags
	cmd := &cobra.Command{
		Use:   "calibrate [PLAN]",
		Short: "Find out what a pocket of the wheel holds, from weighings",
		Long: `Find out what one pocket of the wheel holds, from repeated weighings of the food you feed: mean,
spread, 95 % confidence interval, weighings that stand out, and how many more are wanted for ±3 %.
Weigh several pockets at a time: a kitchen scale shows whole grams. Without --weighed and --csv it
asks for one weighing after the other; with --live a feeder on USB turns the pockets.

With --asked and --turned it corrects the time of one pocket of a wheel without index switch; with
--still or --creep it finds the servo's stop pulse. With --write the results go into the [wheel]
table of PLAN; every other byte of the file stays as it is.`,
		Example: `  mealtab calibrate                                         asks, ten pockets at a time
  mealtab calibrate --live --pockets 10                      a feeder turns them, you type the grams
  mealtab calibrate --weighed "62.1 61.8 63.0 62.4 g"        ten pockets each
  mealtab calibrate plan.toml --csv weighings.csv --write    columns: pockets, grams, perhaps ms
  mealtab calibrate plan.toml --weighed "62 61 98 63 62 g" --without 3
  mealtab calibrate plan.toml --asked 60 --turned 62.5       60 pockets by time were 62 and a half
  mealtab calibrate plan.toml --still "-18us..6us" --write   still between these trims
  mealtab calibrate plan.toml --creep "40 s" --creeps forward  a pocket creeps by in 40 seconds`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 1 {
				return fmt.Errorf("one PLAN is wanted, there are %d arguments", len(args))
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			f.listed = cmd.Flags().Changed("weighed") || cmd.Flags().Changed("csv")
			return a.runCalibrate(strings.Join(args, ""), f)
		},
	}
	flags := cmd.Flags()
	flags.SortFlags = false
	flags.IntVar(&f.pockets, "pockets", 10, "pockets turned for each weighing of --weighed, or when asking")
	flags.StringVar(&f.weighed, "weighed", "", "`LIST` of weighings: \"62.1 61.8 63.0 g\", \"2.2 oz, 2.1 oz\"; bare numbers are grams")
	flags.StringVar(&f.csv, "csv", "", "`FILE` with a line for each weighing: pockets, grams and, if measured, ms (\"-\": standard input)")
	flags.BoolVar(&f.live, "live", false, "let the feeder on a serial port turn the pockets, and ask for the grams")
	flags.StringArrayVarP(&f.ports, "port", "p", nil, "with --live: serial `PORT` of the feeder (default: the only feeder there is)")
	flags.IntSliceVar(&f.without, "without", nil, "leave out weighings by `NUMBER`")
	flags.Float64Var(&f.asked, "asked", 0, "pockets that were asked for, by time")
	flags.Float64Var(&f.turned, "turned", 0, "pockets that the wheel really turned, in fractions too")
	flags.StringVar(&f.still, "still", "", "least and greatest trim with which the wheel stands still: \"-18us..6us\"")
	flags.StringVar(&f.creep, "creep", "", "`TIME` in which one pocket creeps by while the wheel should stand: \"40 s\"")
	flags.StringVar(&f.creeps, "creeps", "forward", "forward or backward: where it creeps")
	flags.BoolVar(&f.write, "write", false, "write the results into PLAN")
	flags.BoolVar(&f.anyway, "anyway", false, "write even if a weighing stands out or there are too few")
	return cmd
}

// calibration is what a run works on, and what it finds.
type calibration struct {
	calibrate.Report
	f    calibrateFlags
	name string // of the plan; "": none
	src  []byte
}

func (a *app) runCalibrate(name string, f calibrateFlags) error {
	c := &calibration{f: f, name: name}
	if err := f.check(name); err != nil {
		return err
	}
	if err := a.calibratedPlan(c); err != nil {
		return err
	}
	if f.asksForWeighings() {
		list, err := a.weighings(f)
		if err != nil {
			return err
		}
		drop, err := f.leftOut(list)
		if err != nil {
			return err
		}
		c.Weighings(list, drop)
	}
	if f.asked != 0 {
		if ratio := f.asked / f.turned; !(ratio >= 0.2 && ratio <= 5) { // NaN too
			return usagef("--asked %g and --turned %g differ too much: check the wheel first", f.asked, f.turned)
		}
		c.TurnByCount(f.asked, f.turned)
	}
	if err := c.stopPulse(); err != nil {
		return err
	}
	if _, err := io.WriteString(a.out, c.Text()); err != nil {
		return err
	}
	switch {
	case !f.write:
		return nil
	case c.Doubt != "" && !f.anyway:
		return fmt.Errorf("%s; nothing was written (--anyway writes)", c.Doubt)
	}
	return a.writeWheel(name, c.src, c.Settings())
}

// leftOut is what --without names, as indices.
func (f calibrateFlags) leftOut(list []calibrate.Weighing) (drop []int, err error) {
	for _, n := range f.without {
		if n < 1 || n > len(list) {
			return nil, usagef("--without %d: there are weighings 1 to %d", n, len(list))
		}
		drop = append(drop, n-1)
	}
	if len(calibrate.Without(list, drop)) == 0 {
		return nil, usagef("--without leaves no weighing")
	}
	return drop, nil
}

// stopPulse reads what --still or --creep say.
func (c *calibration) stopPulse() error {
	switch {
	case c.f.still != "":
		low, high, ok := strings.Cut(c.f.still, "..")
		from, err := units.ParsePulse(low)
		to, err2 := units.ParsePulse(high)
		if err = errors.Join(err, err2); !ok || err != nil {
			return usagef("--still %q: write the two ends, such as \"-18us..6us\"", c.f.still)
		}
		return c.Still(from, to)
	case c.f.creep != "":
		each, err := units.ParseSpan(c.f.creep)
		if err != nil {
			return usagef("--creep: %v", err)
		}
		if each < 5*c.Turn {
			return usagef("--creep %s: that is turning, not creeping (a pocket takes %s at full speed)", c.f.creep, c.Turn)
		}
		return c.Creep(each, c.f.creeps == "forward")
	}
	return nil
}

func (f calibrateFlags) asksForWeighings() bool {
	return f.weighed != "" || f.csv != "" || f.live || f.asked == 0 && f.still == "" && f.creep == ""
}

func (f calibrateFlags) check(name string) error {
	switch {
	case f.write && name == "":
		return usagef("--write needs the PLAN to write to")
	case f.write && (name == "-" || strings.EqualFold(filepath.Ext(name), ".ics")):
		return usagef("--write writes into a TOML file; add the [wheel] table yourself, or keep the plan as TOML")
	case f.weighed != "" && f.csv != "":
		return usagef("--weighed and --csv: give one of them")
	case f.listed && f.weighed == "" && f.csv == "":
		return usagef(`--weighed wants a list such as "62.1 g, 61.8 g, 63.0 g", --csv the name of a file: there is neither`)
	case f.live && f.listed:
		return usagef("--live asks for the weighings: give it without --weighed and --csv")
	case len(f.ports) > 1 || len(f.ports) > 0 && !f.live:
		return usagef("--port names the one feeder of --live")
	case (f.asked == 0) != (f.turned == 0) || f.asked < 0 || f.turned < 0:
		return usagef("--asked and --turned belong together, and are above zero: how many pockets were asked for, how many the wheel turned")
	case f.still != "" && f.creep != "":
		return usagef("--still and --creep: give one of them; --still is the better one")
	case f.creeps != "forward" && f.creeps != "backward":
		return usagef("--creeps %s does not exist: forward, backward", f.creeps)
	case f.pockets < 1 || f.pockets > 1000:
		return usagef("--pockets %d is outside 1 to 1000", f.pockets)
	}
	return nil
}

// calibratedPlan reads the plan, if there is one, and the time of a pocket and the trim in force.
func (a *app) calibratedPlan(c *calibration) (err error) {
	board, wheel := "", plan.Wheel{}
	if c.name != "" {
		if c.src, err = a.read(c.name); err != nil {
			return err
		}
		l, err := a.loadPlan(c.name, c.src)
		if err != nil {
			return err
		}
		board = l.plan.Board
		if l.plan.Wheel != nil {
			wheel = *l.plan.Wheel
		}
	}
	p, err := profile.LoadFor(c.name, board)
	if err != nil {
		return err
	}
	c.Trim = units.Microseconds(wheel.TrimMicros)
	if c.Turn = units.Milliseconds(wheel.TurnMillis); c.Turn == 0 {
		c.Turn = units.Milliseconds(p.TurnMillis)
	}
	return nil
}

func (a *app) weighings(f calibrateFlags) ([]calibrate.Weighing, error) {
	switch {
	case f.weighed != "":
		list, err := calibrate.ParseList(f.pockets, f.weighed)
		if err != nil {
			return nil, usagef("--weighed: %v", err)
		}
		return list, nil
	case f.csv != "":
		src, err := a.read(f.csv)
		if err != nil {
			return nil, err
		}
		return calibrate.ReadCSV(f.csv, src)
	}
	return a.askForWeighings(f)
}

// askForWeighings asks the owner, who turns the wheel by hand or lets a feeder do it. When the feeder fails, what has been
// weighed counts.
func (a *app) askForWeighings(f calibrateFlags) (list []calibrate.Weighing, err error) {
	if f.live {
		err = a.each(f.portFlags, func(s *session) (err error) {
			wheel, err := newLiveWheel(s.Feeder)
			if err == nil {
				list, err = calibrate.Ask(a.in, a.err, wheel, f.pockets)
			}
			return err
		})
	} else {
		list, err = calibrate.Ask(a.in, a.err, nil, f.pockets)
	}
	fmt.Fprintln(a.err)
	switch {
	case err == nil && len(list) == 0:
		return nil, errors.New("there are no weighings")
	case err != nil && len(list) > 0:
		fmt.Fprintf(a.err, "%v\ngoing on with %s\n", err, units.Count(len(list), "weighing"))
		return list, nil
	}
	return list, err
}

// writeWheel edits the plan and reads it again: an edit must leave a good plan.
func (a *app) writeWheel(name string, src []byte, found []calibrate.Setting) error {
	edited, err := calibrate.EditWheel(src, found)
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	l, err := a.loadPlan(name, edited)
	if err != nil {
		return err
	}
	if err := a.report(l.diagnostics.Sort()); err != nil {
		return err
	}
	if err := a.write(name, edited); err != nil {
		return err
	}
	fmt.Fprintf(a.out, "\n%s: [wheel] is written; compile the plan again to bring it onto the feeder\n", name)
	if b := l.plan.Button; b != nil && (b.PerHour > mostPresses || b.Portion.Pockets >= weighedPockets) {
		fmt.Fprintf(a.out, "The button still gives %s a press, %d presses an hour and %d pockets a day at most: set it back before the feeder is left alone\n",
			b.Portion, b.PerHour, table.MaxAskedDay)
	}
	return nil
}

// mostPresses is what a button may be allowed in an hour in everyday use; more is for weighing. A design judgement: four
// portions too many are no danger to most pets.
const mostPresses = 4

// weighedPockets are so many that a press is for weighing.
const weighedPockets = 10
