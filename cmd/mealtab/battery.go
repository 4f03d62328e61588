package main

import (
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/compiler/power"
	"mealtab/compiler/profile"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
	"mealtab/emulator/scenario"
)

type batteryFlags struct {
	board, firmware          string
	currents, capacity       string
	without                  []string
	preset, format           string
	computed, explain, print bool
}

func (a *app) batteryCommand() *cobra.Command {
	var f batteryFlags
	cmd := &cobra.Command{
		Use:   "battery PLAN",
		Short: "Estimate how long a feeder on cells runs with a plan",
		Long: `Estimate how long a feeder runs on a set of cells with a plan, as a range: the cells' capacity and
the converter's efficiency are never known for sure. The firmware is rehearsed with the plan for a
year, its wakes, cycles and turns are counted and multiplied by the currents of the board, each of
which names its source. What would lengthen the life most is tried out and shown.

--computed derives the counts from the replay instead, in a moment.`,
		Example: `  mealtab battery plan.toml
  mealtab battery plan.toml --board m328-cells --without led,charger   a module with both cut off
  mealtab battery plan.toml --explain                                  with the arithmetic
  mealtab battery plan.toml --currents my-feeder.toml                  with currents you measured
  mealtab battery plan.toml --print-currents >my-feeder.toml
  mealtab battery plan.toml --computed --format json`,
		Args: one("PLAN"),
		RunE: func(_ *cobra.Command, args []string) error { return a.runBattery(args[0], f) },
	}
	flags := cmd.Flags()
	flags.SortFlags = false
	flags.StringVar(&f.board, "board", "", "board profile: a `NAME`, or the path of a TOML file (default: the plan's)")
	flags.StringVar(&f.firmware, "firmware", "", "`FILE` with the firmware to rehearse, Intel HEX or ELF (default: the one made for the board)")
	flags.StringSliceVar(&f.without, "without", nil, "`PARTS` that are cut off or left out: led, charger, module, clock, …")
	flags.StringVar(&f.capacity, "capacity", "", "`CHARGE` of one cell, such as \"15 Ah\" (default: the range of the board's cells)")
	flags.StringVar(&f.currents, "currents", "", "`FILE` of currents (default: the board's)")
	flags.BoolVar(&f.print, "print-currents", false, "print the board's file of currents, to put your own measurements in")
	flags.StringVar(&f.preset, "preset", "", "preset in force: its `NAME` or number (default: the first)")
	flags.BoolVar(&f.computed, "computed", false, "compute the counts from the replay, do not rehearse")
	flags.BoolVar(&f.explain, "explain", false, "show the arithmetic and the source of each current")
	flags.StringVar(&f.format, "format", "text", "text or json")
	return cmd
}

func (a *app) runBattery(name string, f batteryFlags) error {
	if f.format != "text" && f.format != "json" {
		return usagef("--format %s does not exist: text, json", f.format)
	}
	l, err := a.readPlan(name)
	if err != nil {
		return err
	}
	board, err := a.profile(l.plan, f.board)
	if err != nil {
		return err
	}
	if f.print {
		return a.printCurrents(board)
	}
	p, err := a.currents(f, board) // before the proof, which takes longer
	if err != nil {
		return err
	}
	c, err := a.compile(l, compileOptions{board: f.board})
	if err != nil {
		return err
	}
	counts, err := a.countYear(c, f)
	if err != nil {
		return err
	}
	r := power.NewReport(title(l.plan), p, counts, board.MinSupplyMV)
	if f.format == "json" {
		return r.JSON(a.out)
	}
	_, err = io.WriteString(a.out, r.Text(f.explain))
	return err
}

func (a *app) printCurrents(b *profile.Profile) error {
	if _, err := power.Of(b); err != nil {
		return err
	}
	_, err := a.out.Write(b.CurrentsSource())
	return err
}

// currents finds what flows on the board.
func (a *app) currents(f batteryFlags, b *profile.Profile) (p *power.Profile, err error) {
	switch {
	case f.currents != "":
		src, err := a.read(f.currents)
		if err != nil {
			return nil, err
		}
		if p, err = power.Parse(f.currents, src); err != nil {
			return nil, err
		}
	case b.Supply == profile.Mains:
		return nil, fmt.Errorf("%s runs on a wall supply: there are no cells to empty (--board %s asks how long cells would last)", b.Name, power.Boards()[0])
	default:
		if p, err = power.Of(b); err != nil {
			return nil, fmt.Errorf("%w: --currents", err)
		}
	}
	if p, err = p.Without(f.without); err != nil {
		return nil, usagef("--without: %v", err)
	}
	if f.capacity != "" {
		q, err := units.ParseCharge(f.capacity)
		if err != nil || !(q > 0) {
			return nil, usagef("--capacity: %q is not the capacity of a cell, such as \"15 Ah\"", f.capacity)
		}
		p.Pack.Capacity = [3]units.MilliampHours{q, q, q}
	}
	return p, nil
}

// countYear counts, or computes, what the feeder does in the year from now on.
func (a *app) countYear(c *compiled, f batteryFlags) (power.Counts, error) {
	preset, err := choosePreset(c.Table, c, f.preset)
	if err != nil {
		return power.Counts{}, err
	}
	from := max(moment.Minute(a.now), table.Minute(c.Table.Start)*table.MinutesPerDay)
	from -= from % table.MinutesPerDay
	if f.computed || preset > 0 { // a rehearsal begins with the first preset, as a board does
		b := power.Board{ClockHz: float64(c.board.ClockHz), TurnMillis: float64(c.board.TurnMillis)}
		return power.Computed(c.Table, b, preset, from), nil
	}
	r := scenario.Rehearsal{Table: c.Bytes, From: from, Years: 1}
	r.Board = c.board
	if r.Firmware, err = a.firmware(f.firmware, r.Board); err != nil {
		return power.Counts{}, fmt.Errorf("%w; --computed needs none", err)
	}
	bar := a.progress("rehearsing", table.Day(from/table.MinutesPerDay))
	windows, left := r.Extent(c.Table)
	if left != (scenario.Window{}) {
		fmt.Fprintf(a.err, "the plan serves so often that %s are counted, and scaled to a year\n", units.Count(int(days(windows)), "day"))
	}
	bar.to = from + scenario.Length(windows)
	r.Progress = bar.at
	report, err := scenario.Rehearse(r)
	bar.done()
	if err != nil {
		return power.Counts{}, fmt.Errorf("the firmware does not serve what the table says\n%w", err)
	}
	return counted(report, float64(c.board.ClockHz)), nil
}

// counted scales what a rehearsal counted to a year.
func counted(r *scenario.Report, clockHz float64) power.Counts {
	year := float64(units.Year) / r.Emulated.Seconds()
	scaled := func(d time.Duration) units.Seconds { return units.Seconds(d.Seconds() * year) }
	c := power.Counts{
		Counted: true, ClockHz: clockHz,
		Servings: float64(r.Servings) * year, Wakes: float64(r.Wakes) * year,
		AwakeCycles: float64(scaled(r.Awake)) * clockHz, Idle: scaled(r.Idle), Wheel: scaled(r.Wheel),
		EEPROMWrites: float64(r.Writes) * year, PageWrites: float64(r.PageWrites) * year,
	}
	c.Servo = power.ServoTime(c.Wheel, c.Servings)
	return c
}
