package sheet

import (
	"fmt"

	"mealtab/compiler/plan"
	"mealtab/compiler/plan/describe"
	"mealtab/compiler/report/review"
	"mealtab/compiler/table"
)

// label is for the hopper: whoever looks after the animals finds there what the feeder does.
func label(p *page, in Input) {
	of := in.Plan
	name := of.Name
	if name == "" {
		name = "This feeder"
	}
	p.title(name, "A label for the hopper: the meals of the plan, what is fed, whom to call.")
	p.text(fmt.Sprintf("Local time of %s. A meal that is late by more than %s is left out.", of.Zone, review.Duration(table.Minute(of.Late))))
	p.heading("Meals")
	lefts := []float64{margin, margin + 190, margin + 290}
	shown := of.Meals
	if len(shown) > mostMeals {
		shown = shown[:mostMeals]
	}
	for _, m := range shown {
		p.row(lefts, []string{m.Name, m.Portion.String(), describe.Set(m.Set) + presets(of, m)})
	}
	if more := len(of.Meals) - len(shown); more > 0 {
		p.text(fmt.Sprintf("and %d more: see the plan", more))
	}
	p.heading("To fill in")
	p.y += 6
	for _, line := range []string{"Food", "Hopper holds, filled on", "Keeper, telephone", "Vet, telephone", "Looked in on (initials)"} {
		p.y += 28
		p.blank(line, margin, lefts[0]+190, width-margin)
	}
	p.y += 8
	p.heading("Always")
	p.text(cautions)
}

// mostMeals is how many stand on the label; a plan with more is no text for a hopper.
const mostMeals = 12

// presets says to which presets a meal belongs, if not to all.
func presets(of *plan.Plan, m plan.Meal) string {
	if m.Presets == 0 || len(of.Presets) == 0 {
		return ""
	}
	s := ""
	for i, name := range of.Presets {
		if m.Presets&(1<<i) != 0 {
			s += ", in preset " + fmt.Sprint(name)
		}
	}
	return s
}
