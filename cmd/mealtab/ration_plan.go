package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/pflag"

	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/compiler/food/forecast"
	"mealtab/compiler/food/ration"
	"mealtab/compiler/prose"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
)

// runRationOfPlan reports on the pets that a plan names.
func (a *app) runRationOfPlan(name string, flags *pflag.FlagSet, f rationFlags) error {
	for _, key := range append([]string{"intact", "lose", "energy", "analysis"}, petKeys()...) {
		if flags.Changed(key) {
			return usagef("--%s does not go with a PLAN: write it into its [[pet]] or [food] table", key)
		}
	}
	l, err := a.readPlan(name)
	if err != nil {
		return err
	}
	home, ds := ration.FromPlan(l.plan)
	if err := a.report(append(ds, l.diagnostics...).Sort()); err != nil {
		return err
	}
	switch {
	case ds.HasErrors():
		return errReported
	case home == nil:
		return fmt.Errorf("%s names no pet: add a [[pet]] table with species = \"cat\" and weight = \"4 kg\", or give both as flags", name)
	case !home.HasFood:
		return fmt.Errorf("%s does not say what energy the food has: add a [food] table with energy = \"3800 kcal/kg\", from the label", name)
	}
	var pocket units.Milligrams
	if l.plan.Wheel != nil {
		pocket = units.Milligrams(l.plan.Wheel.PocketMilligrams)
	}
	var b strings.Builder
	b.WriteString(home.Text(pocket))
	if home.Complete() {
		c, err := a.compile(l, compileOptions{})
		if err != nil {
			return err
		}
		a.verdicts(&b, home, c)
	}
	b.WriteString(prose.Heed(home.Cautions()))
	if _, err := io.WriteString(a.out, b.String()); err != nil {
		return err
	}
	if len(ds) > 0 {
		return errReported // a pet for a veterinarian
	}
	return nil
}

func petKeys() (keys []string) {
	for _, k := range petFlags {
		keys = append(keys, k.key)
	}
	return keys
}

// countedDays is how long the plan's food is counted: 52 weeks.
const countedDays = 364

// verdicts compares for each preset.
func (a *app) verdicts(b *strings.Builder, home *ration.Household, c *compiled) {
	fmt.Fprint(b, "\nThe plan and the pets\n")
	for _, preset := range presets(c) {
		with := ""
		if preset >= 0 {
			with = fmt.Sprintf("with preset %q ", c.plan.Presets[preset])
		}
		day := forecast.Compare(a.forecastInput(c, preset), countedDays).Day
		if day.Count == 0 || day.Total[0] == 0 {
			b.WriteString(prose.Wrap("  ", with+"nothing is fed, or it is not known what a pocket holds"))
			continue
		}
		v, ds := home.Compare(day.Total[0] / units.Milligrams(day.Count))
		b.WriteString(prose.Wrap("  ", with+v.String()))
		for _, d := range ds {
			b.WriteString(prose.Wrap("  ", d.Hint))
		}
	}
}

// forecastInput is what a forecast of amounts looks at: the plan from now on, with a full hopper.
func (a *app) forecastInput(c *compiled, preset int) forecast.Input {
	return forecast.Input{Table: c.Table, Left: units.Milligrams(c.plan.Hopper), Full: true, From: moment.Minute(a.now), Preset: preset, Local: c.offsetMinutes}
}

// offsetMinutes is the zone's distance from UTC.
func (c *compiled) offsetMinutes(at table.Minute) int {
	return c.zone.At(at.Time().Unix()).Seconds / 60
}
