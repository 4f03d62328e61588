package main

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/compiler/report/chart"
)

type chartFlags struct {
	kind, output, from, preset string
	width                      int
	scale                      float64
	dark, force                bool
}

func (a *app) chartCommand() *cobra.Command {
	var f chartFlags
	cmd := &cobra.Command{
		Use:   "chart PLAN",
		Short: "Draw what a plan will do: a week, a year, the hopper, the cells",
		Long: `Draw a picture of a plan: its servings in a week, the food and odd days of a year, how a full hopper
empties, or how long a set of cells lasts. The plan is compiled and proved first, and everything
drawn is replayed from the table, so that the picture shows what the feeder will do. (mealtab battery
counts what the cells give by running the firmware; the picture computes it.)

An SVG follows the reader's choice of light or dark; a PNG is light unless --dark is given.`,
		Example: `  mealtab chart plan.toml --kind week -o week.svg
  mealtab chart plan.toml --kind year --from 2027-01-01 -o 2027.svg
  mealtab chart plan.toml --kind hopper -o hopper.png --width 600
  mealtab chart plan.toml --kind week -o - >week.svg`,
		Args: one("PLAN"),
		RunE: func(_ *cobra.Command, args []string) error { return a.runChart(args[0], f) },
	}
	flags := cmd.Flags()
	flags.StringVar(&f.kind, "kind", "week", "what to draw: "+strings.Join(chart.Kinds(), ", "))
	flags.StringVarP(&f.output, "output", "o", "", "`FILE` to write, ending in .svg or .png; - writes SVG to standard output")
	flags.StringVar(&f.from, "from", "", "first `DATE` shown; of a year its month, of the hopper the day it is filled (default: today)")
	flags.StringVar(&f.preset, "preset", "", "preset in force: its `NAME` or number, or all (default: the first)")
	flags.IntVar(&f.width, "width", 760, "`PIXELS` of width; below 560 it is drawn as for a phone")
	flags.Float64Var(&f.scale, "scale", 2, "of a PNG: `N` of its pixels to one of --width")
	flags.BoolVar(&f.dark, "dark", false, "of a PNG: light on dark ground")
	flags.BoolVar(&f.force, "force", false, "write over a file that is not such a picture")
	return cmd
}

func (a *app) runChart(name string, f chartFlags) error {
	k, err := pictureKind(f.output)
	if err != nil {
		return err
	}
	if !slices.Contains(chart.Kinds(), f.kind) {
		return usagef("--kind %s: there is no such picture; there are %s", f.kind, strings.Join(chart.Kinds(), ", "))
	}
	if err := a.mayReplace(f.output, k, f.force, name); err != nil {
		return err
	}
	l, err := a.readPlan(name)
	if err != nil {
		return err
	}
	c, err := a.compile(l, compileOptions{})
	if err != nil {
		return err
	}
	o := chart.Options{Width: f.width, Heading: true}
	if o.Preset, err = choosePreset(c.Table, c, f.preset); err != nil {
		return err
	}
	if f.from != "" {
		if o.From, err = moment.Date(f.from); err != nil {
			return usagef("--from: %v", err)
		}
	}
	p, err := chart.Draw(f.kind, a.reviewInput(c), o)
	if err != nil {
		return err
	}
	if err := a.writePicture(f.output, p, f.scale, f.dark); err != nil {
		return err
	}
	if f.output != "-" {
		fmt.Fprintf(a.out, "%s -> %s: %s\n", name, f.output, p.Title)
	}
	return nil
}
