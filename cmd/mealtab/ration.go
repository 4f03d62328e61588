package main

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"mealtab/compiler/ration"
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
	{"activity", "low, moderate or high. Cats: indoors, both, outdoors. Dogs: under 1, 1 to 3, 3 to 6 hours\na day (default: low)"},
	{"adult", "of a puppy: `MASS` it will have when grown"},
	{"breed", "great-dane or newfoundland: dogs with equations of their own"},
	{"state", "well, ill, diabetic, pregnant, nursing or losing-weight (default: well)"},
	{"extras", "`ENERGY` a day from treats and other food: \"20 kcal\""},
}

func (a *app) rationCommand() *cobra.Command {
	f := rationFlags{pet: map[string]string{}}
	cmd := &cobra.Command{
		Use:   "ration",
		Short: "Estimate how much food a cat or dog needs in a day",
		Long: `Estimate how much dry food a cat or dog needs in a day, by each published equation that fits, and
suggest portions. The equations differ a lot for one and the same pet: the answer is a range and a
place to begin, and the scale decides afterwards.

The energy of the food stands on its label ("metabolizable energy"), else it can be computed from
the analysis. Ill, diabetic, pregnant, nursing and very young or thin animals are refused: what
they eat is for a veterinarian to say.`,
		Example: `  mealtab ration --species cat --weight "4 kg" --condition 5 --energy "3800 kcal/kg"
  mealtab ration --species dog --weight "44 lb" --age "5 y" --activity moderate --energy "1590 kJ/100 g"
  mealtab ration --species cat --weight "6 kg" --ideal "5 kg" --condition 7 --lose --energy "360 kcal/100 g"
  mealtab ration --species cat --weight "2 kg" --age "14 weeks" --analysis "protein 34, fat 14, fibre 3, ash 7"`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return a.runRation(cmd.Flags(), f) },
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
	_, err = io.WriteString(a.out, r.text())
	return err
}

// rationReport is all that is shown about one pet.
type rationReport struct {
	pet      ration.Pet
	food     ration.Food
	estimate *ration.Estimate
	grams    *ration.Grams
	pocket   units.Milligrams // 0: not known
}

func newRation(f rationFlags) (*rationReport, error) {
	r := &rationReport{}
	var err error
	if r.pet, err = ration.FromKeys(f.pet); err != nil {
		return nil, err
	}
	if r.estimate, err = ration.For(r.pet); err != nil {
		return nil, err
	}
	if r.food, err = f.food(); err != nil {
		return nil, err
	}
	if f.pocket != "" {
		if r.pocket, err = units.ParseMass(f.pocket); err != nil {
			return nil, &ration.KeyError{Key: "pocket", Message: err.Error()}
		}
	}
	r.grams, err = r.estimate.Of(r.pet, r.food, f.meals)
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

func (r *rationReport) text() string {
	var b strings.Builder
	r.heading(&b)
	r.energy(&b)
	r.portions(&b)
	r.snippet(&b)
	fmt.Fprint(&b, "\nPlease heed\n")
	for _, c := range append(append([]string{}, r.estimate.Notes...), ration.Cautions(r.pet.Species)...) {
		b.WriteString(wrap("  - ", c))
	}
	return b.String()
}

func (r *rationReport) heading(b *strings.Builder) {
	p := r.pet
	name := p.Name
	if name == "" {
		name = "A " + string(p.Species)
	}
	kind := "neutered"
	if p.Intact {
		kind = "not neutered"
	}
	if p.Growing() {
		kind = "growing"
	}
	fmt.Fprintf(b, "%s, %s, %s\n", name, r.mass(p.Weight), kind)
	if len(r.estimate.Assumed) > 0 {
		b.WriteString(wrap("  assumed: ", strings.Join(r.estimate.Assumed, "; ")))
	}
	if w := r.estimate.Weight; w[0] != p.Weight || w[1] != p.Weight {
		to := ""
		if w[1] != w[0] {
			to = " to " + r.mass(w[1].Round(units.Gram*10))
		}
		fmt.Fprintf(b, "  computed for an ideal weight of %s%s\n", r.mass(w[0].Round(units.Gram*10)), to)
	}
}

// mass is shown in pounds too where the owner thinks in them.
func (r *rationReport) mass(m units.Milligrams) string {
	if r.pet.Pounds {
		return fmt.Sprintf("%s (%s)", m.Round(units.Gram*10), m.Pounds())
	}
	return m.String()
}

func (r *rationReport) energy(b *strings.Builder) {
	e := r.estimate
	fmt.Fprint(b, "\nEnergy a day, by each published equation\n")
	for _, row := range e.Rows {
		fmt.Fprintf(b, "  %-38s %20s   %s\n", row.Name, row.Range, row.Formula)
		fmt.Fprintf(b, "  %-38s %20s   %s\n", "", "", row.Source)
	}
	fmt.Fprintf(b, "  %-38s %20s\n", "together", e.Range)
	fmt.Fprintf(b, "  kg is the weight in kilograms; RER is 70 × kg^0.75, here %s\n", e.RER)
}

func (r *rationReport) portions(b *strings.Builder) {
	g, f := r.grams, r.food
	fmt.Fprint(b, "\nFood a day\n")
	if f.Computed {
		fmt.Fprintf(b, "  energy of the food    %.0f to %.0f kcal/kg, by modified Atwater from the analysis\n", float64(f.Low), float64(f.High))
		if len(f.Assumed) > 0 {
			fmt.Fprintf(b, "                        assumed: %s\n", strings.Join(f.Assumed, "; "))
		}
	} else {
		fmt.Fprintf(b, "  energy of the food    %s, as given\n", f.Low)
	}
	if r.pet.Extras > 0 {
		fmt.Fprintf(b, "  less extras           %s; %s are left for the food\n", r.pet.Extras, g.InFood)
		if g.ExtrasToo {
			fmt.Fprint(b, "                        more than a tenth of the energy comes from extras: less is better (AAHA)\n")
		}
	}
	fmt.Fprintf(b, "  by the equations      %s\n", r.span(g.Day))
	fmt.Fprintf(b, "  in %-18s %s each\n", count(g.Meals, "meal"), r.span(g.Portion))
	b.WriteString(wrap("                        ", g.MealsWhy))
	fmt.Fprintf(b, "  to begin with         %s of %s, the middle; then go by the scale\n", count(g.Meals, "meal"), r.ounces(g.First))
	if r.pocket > 0 {
		fmt.Fprintf(b, "                        %.1f pockets of %s; the feeder carries the remainder to the next meal\n",
			float64(g.First)/float64(r.pocket), r.pocket)
	}
}

func (r *rationReport) span(m [2]units.Milligrams) string {
	digits := 0
	if m[0] < 20*units.Gram {
		digits = 1
	}
	s := fmt.Sprintf("%.*f to %.*f g", digits, m[0].Grams(), digits, m[1].Grams())
	if r.pet.Pounds {
		s += fmt.Sprintf(" (%s to %s)", m[0].Pounds(), m[1].Pounds())
	}
	return s
}

func (r *rationReport) ounces(m units.Milligrams) string {
	if r.pet.Pounds {
		return fmt.Sprintf("%s (%s)", m, m.Pounds())
	}
	return m.String()
}

// mealTimes are spread over the day; a start, to be changed to what suits the household.
func mealTimes(meals int) []string {
	const first, last = 7 * 60, 22 * 60
	if meals == 1 {
		return []string{"07:00"}
	}
	var list []string
	for i := range meals {
		minute := first + i*(last-first)/(meals-1)
		if meals <= 3 {
			minute = first + i*(19*60-first)/(meals-1)
		}
		list = append(list, fmt.Sprintf("%02d:%02d", minute/60, minute%60/5*5))
	}
	return list
}

// snippet is what may go into a plan.
func (r *rationReport) snippet(b *strings.Builder) {
	fmt.Fprint(b, "\nFor the plan\n  [[meal]]\n")
	name := "meal"
	if r.pet.Name != "" {
		name = r.pet.Name
	}
	fmt.Fprintf(b, "  name    = %q\n  portion = %q\n  rrule   = \"FREQ=DAILY\"\n  at      = [", name, r.grams.First)
	for i, t := range mealTimes(r.grams.Meals) {
		if i > 0 {
			b.WriteString(", ")
		}
		fmt.Fprintf(b, "%q", t)
	}
	b.WriteString("]\n")
}
