package ration

import (
	"fmt"

	"mealtab/compiler/units"
)

// Refusal is a pet for which no ration is computed: a veterinarian must say what it eats.
type Refusal struct{ Who, Why string }

func (r *Refusal) Error() string {
	return fmt.Sprintf("no ration is computed for %s: %s. Please ask a veterinarian.", r.Who, r.Why)
}

// Limits of refusals.
const (
	weaning  = 8 * week            // younger animals take milk, and fail within hours
	giant    = 45 * units.Kilogram // adult weight from which growth is a matter of joints; common practice, no source
	thinnest = 3                   // body condition up to which something is wrong
	obese    = 8                   // from here on slimming needs a veterinarian's eye
)

// Masses beyond which the unit or the species is wrong. No source: the heaviest cats and dogs on record, with room.
var weights = map[Species][2]units.Milligrams{
	Cat: {200 * units.Gram, 20 * units.Kilogram},
	Dog: {200 * units.Gram, 120 * units.Kilogram},
}

// refer says whether a veterinarian must decide.
func (p *Pet) refer() error {
	who := "a " + string(p.Species)
	if p.Name != "" {
		who = p.Name
	}
	refuse := func(format string, args ...any) error { return &Refusal{who, fmt.Sprintf(format, args...)} }
	switch {
	case p.State == Pregnant || p.State == Nursing:
		return refuse("what a %s animal needs changes from week to week", p.State)
	case p.State == Diabetic:
		return refuse("with insulin, food and dose belong together, in amount and in time")
	case p.State == Ill:
		return refuse("illness changes what it needs and what it must not have")
	case p.State == LosingWeight:
		return refuse("losing weight without a known reason can be a sign of illness")
	case p.AgeDays > 0 && p.AgeDays < weaning:
		return refuse("it is younger than 8 weeks")
	case p.Condition > 0 && p.Condition <= thinnest:
		return refuse("a body condition of %d/9 is too thin", p.Condition)
	case p.Species == Dog && p.Growing() && p.AdultWeight > giant:
		return refuse("puppies of giant breeds must grow slowly, and too much or too little food harms their joints")
	case p.Lose && p.Growing():
		return refuse("it is still growing and must not lose weight")
	case p.Lose && p.Condition > 0 && p.Condition <= 5 && (p.Ideal == 0 || p.Ideal >= p.Weight):
		return refuse("at a body condition of %d/9 there is nothing to lose", p.Condition)
	}
	return nil
}

// check wants what the equations need, within what an animal can be.
func (p *Pet) check() error {
	limits, known := weights[p.Species]
	switch {
	case !known && p.Species == "":
		return keyErrorf("species", `cat or dog`, "the species is missing")
	case !known:
		return keyErrorf("species", "cat or dog", "there are no equations here for %q", p.Species)
	case p.Weight == 0:
		return keyErrorf("weight", `for example "4.2 kg"`, "the weight is missing")
	}
	for _, w := range []struct {
		key  string
		mass units.Milligrams
	}{{"weight", p.Weight}, {"ideal", p.Ideal}, {"adult", p.AdultWeight}} {
		if w.mass != 0 && (w.mass < limits[0] || w.mass > limits[1]) {
			return keyErrorf(w.key, "is the unit right?", "no %s weighs %s", p.Species, w.mass)
		}
	}
	switch {
	case p.Species == Dog && p.Growing() && p.AdultWeight == 0:
		return keyErrorf("adult", `give the weight it will have, for example "25 kg"`, "a puppy's ration needs its expected adult weight")
	case p.Species == Dog && p.Growing() && p.Weight > p.AdultWeight*11/10:
		return keyErrorf("adult", "", "the puppy weighs %s, more than the %s it is expected to", p.Weight, p.AdultWeight)
	case p.Ideal > 0 && (p.Weight > 3*p.Ideal || p.Ideal > 2*p.Weight):
		return keyErrorf("ideal", "is the unit right?", "an ideal weight of %s does not go with %s", p.Ideal, p.Weight)
	case p.Lose && p.Condition == 0 && p.Ideal == 0:
		return keyErrorf("ideal", "give the weight to reach, or the body condition (1 to 9)", "losing weight needs a goal")
	case p.Breed != "" && p.Species != Dog:
		return keyErrorf("breed", "", "the breeds with equations of their own are dogs")
	}
	return nil
}

// note says what to heed about this pet.
func (e *Estimate) note(p *Pet) {
	if e.WeightFromCondition {
		e.Notes = append(e.Notes, "the ideal weight is a guess from the body condition (10 to 15 % for each point above 5, from memory): a veterinarian's figure is better")
	}
	if p.Lose && p.Species == Cat {
		e.Floor = units.Kilocalories(0.6 * rer(e.Weight[1].Kilograms()))
		e.Notes = append(e.Notes, fmt.Sprintf("never below %s (0.6 × RER, AAHA 2014) without a veterinarian: a cat that eats too little can fall ill of its liver within days", e.Floor))
	}
	if p.Lose {
		e.Notes = append(e.Notes, "go down in steps over one to two weeks; 0.5 to 2 % of the weight a week is enough (AAHA 2014)")
	}
	if p.Condition >= obese {
		e.Notes = append(e.Notes, fmt.Sprintf("at a body condition of %d/9 let a veterinarian look before you change the food", p.Condition))
	}
	if p.overweight() && !p.Lose {
		e.Notes = append(e.Notes, "computed for the ideal weight, to keep it; lose (a flag, and a key of a plan's pet) computes a start for losing weight")
	}
	if p.Growing() {
		e.Notes = append(e.Notes, "a growing animal needs a new ration every two to four weeks")
	}
}
