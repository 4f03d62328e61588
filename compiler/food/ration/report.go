package ration

import (
	"fmt"
	"slices"
	"strings"

	"mealtab/compiler/prose"
	"mealtab/compiler/units"
)

// Report is all that an owner is shown about one pet.
type Report struct {
	Pet      Pet
	Food     Food
	Estimate *Estimate
	Grams    *Grams
	Pocket   units.Milligrams // 0: not known
}

// Text is the report for reading, with a meal for a plan.
func (r *Report) Text() string {
	var b strings.Builder
	r.heading(&b)
	r.energy(&b)
	r.portions(&b)
	r.snippet(&b)
	b.WriteString(prose.Heed(slices.Concat(r.Estimate.Notes, Cautions(r.Pet.Species))))
	return b.String()
}

// Text is the rations one by one, without the cautions.
func (h *Household) Text(pocket units.Milligrams) string {
	var b strings.Builder
	for _, m := range h.Members {
		if m.Grams == nil {
			continue
		}
		r := &Report{Pet: m.Pet, Food: h.Food, Estimate: m.Estimate, Grams: m.Grams, Pocket: pocket}
		if b.Len() > 0 {
			b.WriteString("\n")
		}
		r.heading(&b)
		r.energy(&b)
		r.portions(&b)
	}
	return b.String()
}

// Cautions are those of all members whose ration is known, each once.
func (h *Household) Cautions() (list []string) {
	for _, m := range h.Members {
		if m.Estimate == nil {
			continue
		}
		for _, c := range slices.Concat(m.Estimate.Notes, Cautions(m.Pet.Species)) {
			if !slices.Contains(list, c) {
				list = append(list, c)
			}
		}
	}
	return list
}

func (r *Report) heading(b *strings.Builder) {
	p := r.Pet
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
	if len(r.Estimate.Assumed) > 0 {
		b.WriteString(prose.Wrap("  assumed: ", strings.Join(r.Estimate.Assumed, "; ")))
	}
	if w := r.Estimate.Weight; w[0] != p.Weight || w[1] != p.Weight {
		to := ""
		if w[1] != w[0] {
			to = " to " + r.mass(w[1].Round(units.Gram*10))
		}
		fmt.Fprintf(b, "  computed for an ideal weight of %s%s\n", r.mass(w[0].Round(units.Gram*10)), to)
	}
}

// mass is shown in pounds too where the owner thinks in them.
func (r *Report) mass(m units.Milligrams) string {
	if r.Pet.Pounds {
		return fmt.Sprintf("%s (%s)", m.Round(units.Gram*10), m.Pounds())
	}
	return m.String()
}

func (r *Report) energy(b *strings.Builder) {
	e := r.Estimate
	fmt.Fprint(b, "\nEnergy a day, by each published equation\n")
	for _, row := range e.Rows {
		fmt.Fprintf(b, "  %-38s %20s   %s\n", row.Name, row.Range, row.Formula)
		fmt.Fprintf(b, "  %-38s %20s   %s\n", "", "", row.Source)
	}
	fmt.Fprintf(b, "  %-38s %20s\n", "together", e.Range)
	fmt.Fprintf(b, "  kg is the weight in kilograms; RER is 70 × kg^0.75, here %s\n", e.RER)
}

func (r *Report) portions(b *strings.Builder) {
	g, f := r.Grams, r.Food
	fmt.Fprint(b, "\nFood a day\n")
	if f.Computed {
		fmt.Fprintf(b, "  energy of the food    %.0f to %.0f kcal/kg, by modified Atwater from the analysis\n", float64(f.Low), float64(f.High))
		if len(f.Assumed) > 0 {
			fmt.Fprintf(b, "                        assumed: %s\n", strings.Join(f.Assumed, "; "))
		}
	} else {
		fmt.Fprintf(b, "  energy of the food    %s, as given\n", f.Low)
	}
	if r.Pet.Extras > 0 {
		fmt.Fprintf(b, "  less extras           %s; %s are left for the food\n", r.Pet.Extras, g.InFood)
		if g.ExtrasToo {
			fmt.Fprint(b, "                        more than a tenth of the energy comes from extras: less is better (AAHA)\n")
		}
	}
	fmt.Fprintf(b, "  by the equations      %s\n", r.span(g.Day))
	fmt.Fprintf(b, "  in %-18s %s each\n", units.Count(g.Meals, "meal"), r.span(g.Portion))
	b.WriteString(prose.Wrap("                        ", g.MealsWhy))
	fmt.Fprintf(b, "  to begin with         %s of %s, the middle; then go by the scale\n", units.Count(g.Meals, "meal"), r.ounces(g.First))
	if r.Pocket > 0 {
		fmt.Fprintf(b, "                        %.1f pockets of %s; the feeder carries the remainder to the next meal\n",
			float64(g.First)/float64(r.Pocket), r.Pocket)
	}
}

func (r *Report) span(m [2]units.Milligrams) string {
	digits := 0
	if m[0] < 20*units.Gram {
		digits = 1
	}
	low, high := fmt.Sprintf("%.*f", digits, m[0].Grams()), fmt.Sprintf("%.*f", digits, m[1].Grams())
	s, pounds := low+" to "+high+" g", m[0].Pounds()+" to "+m[1].Pounds()
	if low == high {
		s, pounds = low+" g", ((m[0] + m[1]) / 2).Pounds()
	}
	if r.Pet.Pounds {
		s += fmt.Sprintf(" (%s)", pounds)
	}
	return s
}

func (r *Report) ounces(m units.Milligrams) string {
	if r.Pet.Pounds {
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
func (r *Report) snippet(b *strings.Builder) {
	fmt.Fprint(b, "\nFor the plan\n  [[meal]]\n")
	name := "meal"
	if r.Pet.Name != "" {
		name = r.Pet.Name
	}
	fmt.Fprintf(b, "  name    = %q\n  portion = %q\n  rrule   = \"FREQ=DAILY\"\n  at      = [", name, r.Grams.First)
	for i, t := range mealTimes(r.Grams.Meals) {
		if i > 0 {
			b.WriteString(", ")
		}
		fmt.Fprintf(b, "%q", t)
	}
	b.WriteString("]\n")
}
