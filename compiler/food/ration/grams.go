package ration

import (
	"fmt"
	"math"

	"mealtab/compiler/units"
)

// Grams is a ration as food.
type Grams struct {
	InFood    Range               // energy left for the food, after extras
	Day       [2]units.Milligrams // least and most a day
	Begin     units.Milligrams    // a day: where one may begin
	Meals     int
	MealsWhy  string
	Portion   [2]units.Milligrams // least and most a meal
	First     units.Milligrams    // a meal, to begin with
	ExtrasToo bool                // extras are more than a tenth of the energy
}

// extrasShare is how much of a day's energy may come from extras (AAHA 2014 and 2021).
const extrasShare = 0.10

// Of turns an estimate into food: f's label value as it is, or both ends of a computed one. meals 0 chooses a number.
func (e *Estimate) Of(p Pet, f Food, meals int) (*Grams, error) {
	g := &Grams{InFood: Range{e.Low - p.Extras, e.High - p.Extras}}
	if g.InFood.Low <= 0 {
		return nil, keyErrorf("extras", "give less of them, or ask a veterinarian", "extras of %s leave nothing for food", p.Extras)
	}
	g.ExtrasToo = float64(p.Extras) > extrasShare*float64(e.Middle())
	g.Day = [2]units.Milligrams{f.High.Of(g.InFood.Low), f.Low.Of(g.InFood.High)}
	g.Begin = units.KcalPerKg((f.Low + f.High) / 2).Of(g.InFood.Middle())
	g.Meals, g.MealsWhy = p.meals()
	if meals > 0 {
		g.Meals, g.MealsWhy = meals, "as asked"
	}
	for i := range g.Day {
		g.Portion[i] = g.Day[i] / units.Milligrams(g.Meals)
	}
	g.First = handy(g.Begin / units.Milligrams(g.Meals))
	return g, nil
}

// handy rounds to what a kitchen scale shows: half grams below 20 g, whole grams above.
func handy(m units.Milligrams) units.Milligrams {
	step := units.Gram
	if m < 20*units.Gram {
		step = units.Gram / 2
	}
	return max(step, units.Milligrams(math.Round(float64(m)/float64(step)))*step)
}

// meals is a usual number of meals a day, and who says so.
func (p *Pet) meals() (int, string) {
	switch {
	case p.Growing() && p.Months() < 6:
		return 4, "kittens and puppies eat 3 or 4 times a day until 6 months (general advice)"
	case p.Growing():
		return 3, "2 a day are enough from 6 months on, more does no harm (general advice)"
	case p.Species == Cat:
		return 4, "cats like small meals over the whole day (AAFP 2018 gives no number)"
	}
	return 2, "at least 2 a day; deep-chested large dogs 3 smaller ones (general advice)"
}

// Verdict compares what a plan gives with the rations of the pets that share the bowl.
type Verdict struct {
	Least, Most units.Milligrams // a day, by the equations
	Given       units.Milligrams // a day, by the plan
}

// Sum adds the rations of pets that eat from one bowl.
func Sum(given units.Milligrams, rations ...*Grams) Verdict {
	v := Verdict{Given: given}
	for _, g := range rations {
		v.Least += g.Day[0]
		v.Most += g.Day[1]
	}
	return v
}

// Good reports whether the plan gives what some equation asks for.
func (v Verdict) Good() bool { return v.Given >= v.Least && v.Given <= v.Most }

func (v Verdict) String() string {
	given, least, most := v.Given.Grams(), v.Least.Grams(), v.Most.Grams()
	switch {
	case v.Given < v.Least:
		return fmt.Sprintf("the plan gives %.0f g a day, %.0f %% less than the least that the equations say (%.0f to %.0f g)", given, 100*(1-given/least), least, most)
	case v.Given > v.Most:
		return fmt.Sprintf("the plan gives %.0f g a day, %.0f %% more than the most that the equations say (%.0f to %.0f g)", given, 100*(given/most-1), least, most)
	}
	return fmt.Sprintf("the plan gives %.0f g a day; the equations say %.0f to %.0f g", given, least, most)
}

// Cautions are to be printed with every ration.
func Cautions(s Species) []string {
	eaten := "What a feeder gives is not what a pet has eaten, and of several pets it cannot tell who ate."
	if s == Cat {
		eaten = "A cat that has eaten nothing for 24 hours: call a veterinarian. " + eaten
	}
	return []string{
		"A place to begin, nothing more: the pet's body condition and a veterinarian's plan count for more than any equation. Healthy animals of one weight differ a lot, dogs up to threefold.",
		"Weigh the pet every two weeks and change the amount by a tenth at a time.",
		"A diabetic pet, or one that is ill, pregnant, nursing, too thin or losing weight: a veterinarian decides, this program does not.",
		eaten,
		"Never the only care: somebody looks at pet and bowl at least once a day, and fresh water stands beside it.",
	}
}
