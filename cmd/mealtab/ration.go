package main

import (
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"mealtab/compiler/food/ration"
	"mealtab/compiler/units"
)

type rationFlags struct {
	pet              map[string]string
	energy, analysis string
	meals            int
	pocket           string
}

// petFlags are the flags that describe a pet: the keys of package ration, with what is said about each.
var petFlags = []struct{ key, help string }{
	{"name", "what the pet is called"},
	{"species", "cat or dog"},
	{"weight", "`MASS` now: \"4.2 kg\", \"9 lb 4 oz\""},
	{"ideal", "ideal `MASS`, if a veterinarian has named one"},
	{"condition", "body condition `SCORE`, 1 (far too thin) over 5 (ideal) to 9 (obese)"},
	{"age", "\"3 y\", \"10 months\" or \"14 weeks\" (default: adult)"},
	{"activity", "low, moderate or high. Cats: indoors, both, outdoors. Dogs: under 1, 1 to 3, 3 to 6 hours a day (default: low)"},
	{"adult", "of a puppy: `MASS` it will have when grown"},
	{"breed", "great-dane or newfoundland: dogs with equations of their own"},
	{"state", "well, ill, diabetic, pregnant, nursing or losing-weight (default: well)"},
	{"extras", "`ENERGY` a day from treats and other food: \"20 kcal\""},
}

func (a *app) rationCommand() *cobra.Command {
	f := rationFlags{pet: map[string]string{}}
	cmd := &cobra.Command{
		Use:   "ration [PLAN]",
		Short: "Estimate how much food a cat or dog needs in a day",
		Long: `Estimate how much dry food a cat or dog needs in a day, by each published equation that fits, and
suggest portions. The equations differ a lot for one and the same pet: the answer is a range and a
place to begin, and the scale decides afterwards.

The energy of the food stands on its label ("metabolizable energy"), else it can be computed from
the analysis. Ill, diabetic, pregnant, nursing and very young or thin animals are refused: what
they eat is for a veterinarian to say.

A PLAN may name the pets and the food itself, in [[pet]] and [food] tables whose keys are named as
the flags below: then the rations are compared with what the plan feeds.`,
		Example: `  mealtab ration --species cat --weight "4 kg" --condition 5 --energy "3800 kcal/kg"
  mealtab ration --species dog --weight "44 lb" --age "5 y" --energy "1590 kJ/100 g" --activity high
  mealtab ration --species cat --weight "6 kg" --ideal "5 kg" --lose --energy "360 kcal/100 g"
  mealtab ration --species cat --weight "2 kg" --age "14 weeks" \
      --analysis "protein 34, fat 14, fibre 3, ash 7"
  mealtab ration plan.toml                   for the pets that the plan names`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 1 {
				return fmt.Errorf("one PLAN is wanted, there are %d arguments", len(args))
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 1 {
				return a.runRationOfPlan(args[0], cmd.Flags(), f)
			}
			return a.runRation(cmd.Flags(), f)
		},
	}
	flags := cmd.Flags()
	flags.SortFlags = false
	for _, k := range petFlags {
		flags.String(k.key, "", k.help)
	}
	flags.Bool("intact", false, "not neutered")
	flags.Bool("lose", false, "to lose weight: needs --ideal or --condition")
	flags.StringVar(&f.energy, "energy", "", "`ENERGY` of the food, from its label: \"3800 kcal/kg\", \"380 kcal/100 g\", \"15.9 MJ/kg\"")
	flags.StringVar(&f.analysis, "analysis", "", "`LIST` of the label, as fed, in percent: \"protein 34, fat 14, fibre 3, ash 7, moisture 8\"")
	flags.IntVar(&f.meals, "meals", 0, "meals a day (default: what is usual)")
	flags.StringVar(&f.pocket, "pocket", "", "`MASS` of one pocket of the wheel, to see portions in pockets")
	return cmd
}

func (a *app) runRation(flags *pflag.FlagSet, f rationFlags) error {
	for _, k := range petFlags {
		if flags.Changed(k.key) {
			f.pet[k.key], _ = flags.GetString(k.key)
		}
	}
	if intact, _ := flags.GetBool("intact"); intact {
		f.pet["neutered"] = "false"
	}
	if lose, _ := flags.GetBool("lose"); lose {
		f.pet["lose"] = "true"
	}
	if f.meals < 0 || f.meals > 48 {
		return usagef("--meals %d is outside 1 to 48", f.meals)
	}
	r, err := newRation(f)
	var key *ration.KeyError
	if errors.As(err, &key) {
		return usagef("--%s: %v", key.Key, key)
	}
	if err != nil {
		return err
	}
	_, err = io.WriteString(a.out, r.Text())
	return err
}

func newRation(f rationFlags) (*ration.Report, error) {
	r := &ration.Report{}
	var err error
	if r.Pet, err = ration.FromKeys(f.pet); err != nil {
		return nil, err
	}
	if r.Estimate, err = ration.For(r.Pet); err != nil {
		return nil, err
	}
	if r.Food, err = f.food(); err != nil {
		return nil, err
	}
	if f.pocket != "" {
		if r.Pocket, err = units.ParseMass(f.pocket); err != nil {
			return nil, &ration.KeyError{Key: "pocket", Message: err.Error()}
		}
	}
	r.Grams, err = r.Estimate.Of(r.Pet, r.Food, f.meals)
	return r, err
}

func (f rationFlags) food() (ration.Food, error) {
	switch {
	case f.energy != "" && f.analysis != "":
		return ration.Food{}, usagef("--energy and --analysis: give one of them; the label's energy is the better one")
	case f.analysis != "":
		return ration.ParseAnalysis(f.analysis)
	case f.energy == "":
		return ration.Food{}, usagef("the food's energy is missing: --energy \"3800 kcal/kg\" from the label, or --analysis")
	}
	d, err := units.ParseDensity(f.energy)
	if err != nil {
		return ration.Food{}, &ration.KeyError{Key: "energy", Message: err.Error()}
	}
	return ration.Labelled(d)
}
