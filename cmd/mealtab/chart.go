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
	fed                        fedFlags // of planned against recorded
	width                      int
	scale                      float64
	dark, force                bool
}

func (a *app) chartCommand() *cobra.Command {
	var f chartFlags
	cmd := &cobra.Command{
		Use:   "chart PLAN",
		Short: "Draw what a plan will do (a week, a year, the hopper, the cells), or what came of it",
		Long: `Draw a picture of a plan: its servings in a week, the food and odd days of a year, how a full hopper
empties, or how long a set of cells lasts. The plan is compiled and proved first, and everything
drawn is replayed from the table, so that the picture shows what the feeder will do. (mealtab battery
counts what the cells give by running the firmware; the picture computes it.) The kind fed draws what
was planned against what a feeder recorded, as mealtab fed says it.

An SVG follows the reader's choice of light or dark; a PNG is light unless --dark is given.`,
		Example: `  mealtab chart plan.toml --kind week -o week.svg
  mealtab chart plan.toml --kind year --from 2027-01-01 -o 2027.svg
  mealtab chart plan.toml --kind hopper -o hopper.png --width 600
  mealtab chart plan.toml --kind fed --saved kitchen.history -o fed.svg
  mealtab chart plan.toml --kind week -o - >week.svg`,
		Args: one("PLAN"),
		RunE: func(_ *cobra.Command, args []string) error { return a.runChart(args[0], f) },
	}
	flags := cmd.Flags()
	flags.StringVar(&f.kind, "kind", "week", "what to draw: "+strings.Join(chartKinds(), ", "))
	flags.StringArrayVar(&f.fed.saved, "saved", nil, "of fed: `FILE` of mealtab journal --save; may be repeated (default: the feeder is read)")
	flags.StringArrayVarP(&f.fed.ports, "port", "p", nil, "of fed: `PORT` of the feeder")
	flags.StringVar(&f.fed.to, "to", "", "of fed: last `DATE` shown (default: that of the newest reading)")
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
	if !slices.Contains(chartKinds(), f.kind) {
		return usagef("--kind %s: there is no such picture; there are %s", f.kind, strings.Join(chartKinds(), ", "))
	}
	if f.kind != kindFed && (len(f.fed.saved)+len(f.fed.ports) > 0 || f.fed.to != "") {
		return usagef("--saved, --port and --to are of --kind %s", kindFed)
	}
	if err := a.mayReplace(f.output, k, f.force, name); err != nil {
		return err
	}
	p, err := a.drawChart(name, f)
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

// kindFed is the picture of what a feeder recorded; the others are of what a plan will do.
const kindFed = "fed"

func chartKinds() []string { return append(chart.Kinds(), kindFed) }

func (a *app) drawChart(name string, f chartFlags) (*chart.Picture, error) {
	o := chart.Options{Width: f.width, Heading: true}
	if f.kind == kindFed {
		f.fed.from = f.from
		r, err := a.fedReport(name, f.fed)
		if err != nil {
			return nil, err
		}
		return chart.Fed(r, o)
	}
	l, err := a.readPlan(name)
	if err != nil {
		return nil, err
	}
	c, err := a.compile(l, compileOptions{})
	if err != nil {
		return nil, err
	}
	if o.Preset, err = choosePreset(c.Table, c, f.preset); err != nil {
		return nil, err
	}
	if f.from != "" {
		if o.From, err = moment.Date(f.from); err != nil {
			return nil, usagef("--from: %v", err)
		}
	}
	return chart.Draw(f.kind, a.reviewInput(c), o)
}
