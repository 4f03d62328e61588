// Package ration estimates how much a cat or dog eats in a day, as a range over the published equations.
//
// In: a [Pet] (species, mass, body condition, age, activity) and its [Food] (label energy, or the analysis). Out: energy
// per day in kcal by each equation that fits, with its name and source, grams of food per day as a range, and a number of
// meals. There is no single true figure: for one lean cat of 4 kg the equations span 130 to 280 kcal. Where a veterinarian
// must decide, the package refuses ([Refusal]) instead of computing.
//
// The equations are those of the FEDIAF Nutritional Guidelines 2025 (annex 7.2), the AAHA guidelines of 2014 and 2021, the
// NRC's Nutrient Requirements of Dogs and Cats (2006), the WSAVA's calorie table for cats (2020) and Small Animal
// Clinical Nutrition, 5th edition (table 5-2). The tables were read as quoted in open reviews, not in the originals.
package ration

import (
	"cmp"
	"fmt"
	"math"

	"mealtab/compiler/units"
)

// Species is cat or dog; there are equations for no other here.
type Species string

// The species.
const (
	Cat Species = "cat"
	Dog Species = "dog"
)

// Activity is how much a pet moves. Cats: low is indoors, high is outdoors. Dogs: less than one hour a day, one to
// three, three to six.
type Activity string

// The levels of activity.
const (
	Low      Activity = "low"
	Moderate Activity = "moderate"
	High     Activity = "high"
)

// State is what may put a pet beyond equations.
type State string

// The states. Only the first can be computed for.
const (
	Well         State = "well"
	Ill          State = "ill"
	Diabetic     State = "diabetic"
	Pregnant     State = "pregnant"
	Nursing      State = "nursing"
	LosingWeight State = "losing-weight" // without a known reason
)

// Pet is an animal as its owner describes it. The zero value of a field that is not needed means "not known".
type Pet struct {
	Name        string
	Species     Species
	Weight      units.Milligrams
	Ideal       units.Milligrams
	Condition   int // body condition score, 1 (emaciated) to 9 (obese); 5 is ideal
	AgeDays     int
	Intact      bool // not neutered
	Activity    Activity
	AdultWeight units.Milligrams // expected, of a puppy
	Breed       string           // one of Breeds, or empty
	State       State
	Lose        bool // wanted: to lose weight
	Extras      units.Kilocalories
	Pounds      bool // its mass was given in pounds: answer in ounces too
}

// Breeds have equations of their own in FEDIAF table VII-7.
var Breeds = []string{"great-dane", "newfoundland"}

// Ages, in days.
const (
	week  = 7
	month = 30.4375
	year  = 365.25
)

// Months is the age in months; adult when the age is not known.
func (p *Pet) Months() float64 {
	if p.AgeDays == 0 {
		return math.Inf(1)
	}
	return float64(p.AgeDays) / month
}

// Growing reports whether the equations for kittens or puppies apply: under a year.
func (p *Pet) Growing() bool { return p.Months() < 12 }

// overweight pets are computed for at their ideal weight, by the equations for those who gain easily.
func (p *Pet) overweight() bool { return p.Condition >= 6 }

// Range is energy a day.
type Range struct{ Low, High units.Kilocalories }

func (r Range) String() string {
	low, high := math.Round(float64(r.Low)), math.Round(float64(r.High))
	if low == high {
		return fmt.Sprintf("%.0f kcal", low)
	}
	return fmt.Sprintf("%.0f to %.0f kcal", low, high)
}

// Middle is where one may begin.
func (r Range) Middle() units.Kilocalories { return (r.Low + r.High) / 2 }

// Row is what one equation says.
type Row struct {
	Equation
	Range
}

// Estimate is the ration of a pet.
type Estimate struct {
	Rows []Row
	Range
	RER                 units.Kilocalories  // at the lower computing weight
	Weight              [2]units.Milligrams // computed for: lower and upper
	Floor               units.Kilocalories  // of a slimming cat; 0: none
	Assumed             []string            // what was not given
	Notes               []string            // what to heed about this pet
	WeightFromCondition bool
}

// For computes the ration. The error is a [Refusal] where a veterinarian must decide, else a *[KeyError] that names what
// is missing or impossible.
func For(p Pet) (*Estimate, error) {
	e := &Estimate{}
	p = e.assume(p)
	if err := p.check(); err != nil {
		return nil, err
	}
	if err := p.refer(); err != nil {
		return nil, err
	}
	e.computingWeight(&p)
	e.RER = units.Kilocalories(rer(e.Weight[0].Kilograms()))
	for _, q := range equations {
		if q.when(&p) {
			e.add(q, &p)
		}
	}
	e.note(&p)
	return e, nil
}

// assume fills in what most pets are, and says so.
func (e *Estimate) assume(p Pet) Pet {
	p.State = cmp.Or(p.State, Well)
	if p.AgeDays == 0 {
		e.Assumed = append(e.Assumed, "adult (no age given)")
	}
	if p.Growing() {
		p.Activity = cmp.Or(p.Activity, Low)
		return p
	}
	if p.Activity == "" {
		p.Activity = Low
		e.Assumed = append(e.Assumed, map[Species]string{Cat: "lives indoors", Dog: "moves less than an hour a day"}[p.Species])
	}
	if p.Condition == 0 {
		e.Assumed = append(e.Assumed, "body condition ideal (5/9)")
	}
	return p
}

// Share of the weight that a point of body condition above 5 stands for: 10 to 15 %. From memory.
const pointLow, pointHigh = 0.10, 0.15

// computingWeight is the ideal weight; of a growing pet what it weighs now. Without a known ideal it follows from the body
// condition, roughly.
func (e *Estimate) computingWeight(p *Pet) {
	switch {
	case p.Growing():
		e.Weight = [2]units.Milligrams{p.Weight, p.Weight}
	case p.Ideal > 0:
		e.Weight = [2]units.Milligrams{p.Ideal, p.Ideal}
	case p.overweight():
		over := float64(p.Condition - 5)
		e.Weight[0] = units.FromKilograms(p.Weight.Kilograms() / (1 + pointHigh*over))
		e.Weight[1] = units.FromKilograms(p.Weight.Kilograms() / (1 + pointLow*over))
		e.WeightFromCondition = true
	default:
		e.Weight = [2]units.Milligrams{p.Weight, p.Weight}
	}
}

func (e *Estimate) add(q Equation, p *Pet) {
	low, high := math.Inf(1), 0.0
	for _, w := range e.Weight {
		l, h := q.energy(p, w.Kilograms())
		low, high = min(low, l, h), max(high, l, h)
	}
	r := Range{units.Kilocalories(low), units.Kilocalories(high)}
	if len(e.Rows) == 0 {
		e.Range = r
	}
	e.Low, e.High = min(e.Low, r.Low), max(e.High, r.High)
	e.Rows = append(e.Rows, Row{q, r})
}
