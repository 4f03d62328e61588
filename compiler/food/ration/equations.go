package ration

import "math"

// Equation is one published estimate, in kcal a day from kilograms.
type Equation struct {
	Name    string // whom it is for
	Formula string // kg is the computing weight
	Source  string
	when    func(*Pet) bool
	energy  func(p *Pet, kg float64) (low, high float64)
}

// rer is the resting energy requirement (Small Animal Clinical Nutrition, 5th ed.). The linear form 30 × kg + 70 is left
// out: it departs from this one at both ends.
func rer(kg float64) float64 { return 70 * math.Pow(kg, 0.75) }

// The sources, as they are shown.
const (
	fediaf = "FEDIAF 2025, table "
	aaha21 = "AAHA 2021, box 1"
	aaha14 = "AAHA 2014"
	sacn   = "Small Animal Clinical Nutrition, table 5-2"
	nrc    = "NRC 2006"
	wsava  = "WSAVA 2020"
)

// power is low to high × kg^exponent.
func power(low, high, exponent float64) func(*Pet, float64) (float64, float64) {
	return func(_ *Pet, kg float64) (float64, float64) {
		x := math.Pow(kg, exponent)
		return low * x, high * x
	}
}

// resting is low to high × RER.
func resting(low, high float64) func(*Pet, float64) (float64, float64) {
	return func(_ *Pet, kg float64) (float64, float64) { return low * rer(kg), high * rer(kg) }
}

// keeping is an adult that is to keep its weight.
func keeping(s Species, also func(*Pet) bool) func(*Pet) bool {
	return func(p *Pet) bool { return p.Species == s && !p.Growing() && !p.Lose && also(p) }
}

func growing(s Species, fromMonths, toMonths float64) func(*Pet) bool {
	return func(p *Pet) bool {
		return p.Species == s && p.Growing() && p.Months() > fromMonths && p.Months() <= toMonths
	}
}

func slimming(s Species) func(*Pet) bool {
	return func(p *Pet) bool { return p.Species == s && !p.Growing() && p.Lose }
}

func aged(fromYears, toYears float64) func(*Pet) bool {
	return func(p *Pet) bool {
		years := float64(p.AgeDays) / year
		return p.AgeDays > 0 && years >= fromYears && years < toYears && !p.overweight() && p.Breed == ""
	}
}

func active(a Activity) func(*Pet) bool {
	return func(p *Pet) bool { return p.Activity == a && !p.overweight() && p.Breed == "" }
}

// companion is a dog that does not work: the rows for neutered and intact dogs are for those.
func companion(intact bool) func(*Pet) bool {
	return func(p *Pet) bool {
		return p.Intact == intact && p.Activity != High && !p.overweight() && p.Breed == ""
	}
}

func breed(name string) func(*Pet) bool { return func(p *Pet) bool { return p.Breed == name } }

// equations are all that are known, in the order in which they are shown.
var equations = []Equation{
	// Cats.
	{"cat, neutered or indoors", "52 to 75 × kg^0.67", fediaf + "VII-9",
		keeping(Cat, func(p *Pet) bool { return !p.Intact || p.Activity != High }), power(52, 75, 0.67)},
	{"cat, active", "100 × kg^0.67", fediaf + "VII-9; " + nrc,
		keeping(Cat, func(p *Pet) bool { return p.Activity != Low && !p.overweight() }), power(100, 100, 0.67)},
	{"average adult cat in ideal condition", "100 × kg^0.67 and 130 × kg^0.4", wsava,
		keeping(Cat, func(p *Pet) bool { return !p.overweight() }), averageCat},
	{"cat, neutered", "1.2 to 1.4 × RER", aaha21,
		keeping(Cat, func(p *Pet) bool { return !p.Intact && !p.overweight() }), resting(1.2, 1.4)},
	{"cat, not neutered", "1.4 to 1.6 × RER", aaha21,
		keeping(Cat, func(p *Pet) bool { return p.Intact && !p.overweight() }), resting(1.4, 1.6)},
	{"cat that gains easily", "1.0 × RER", aaha21, keeping(Cat, (*Pet).overweight), resting(1, 1)},
	{"cat that gains easily", "130 × kg^0.4", nrc, keeping(Cat, (*Pet).overweight), power(130, 130, 0.4)},
	{"cat, to lose weight", "0.8 × RER", aaha14 + "; " + aaha21, slimming(Cat), resting(0.8, 0.8)},
	{"kitten up to 4 months", "2.0 to 2.5 × (75 to 100 × kg^0.67)", fediaf + "VII-10", growing(Cat, 0, 4), power(2*75, 2.5*100, 0.67)},
	{"kitten of 4 to 9 months", "1.75 to 2.0 × (75 to 100 × kg^0.67)", fediaf + "VII-10", growing(Cat, 4, 9), power(1.75*75, 2*100, 0.67)},
	{"kitten of 9 to 12 months", "1.5 × (75 to 100 × kg^0.67)", fediaf + "VII-10", growing(Cat, 9, 12), power(1.5*75, 1.5*100, 0.67)},
	{"kitten", "2.5 × RER", aaha21, growing(Cat, 0, 12), resting(2.5, 2.5)},
	// Dogs.
	{"dog of 1 to 2 years", "130 × kg^0.75", fediaf + "VII-6", keeping(Dog, aged(1, 3)), power(130, 130, 0.75)},
	{"dog of 3 to 7 years", "110 × kg^0.75", fediaf + "VII-6", keeping(Dog, aged(3, 8)), power(110, 110, 0.75)},
	{"dog over 7 years", "95 × kg^0.75", fediaf + "VII-6", keeping(Dog, aged(8, 99)), power(95, 95, 0.75)},
	{"dog, less than 1 hour a day", "95 × kg^0.75", fediaf + "VII-7", keeping(Dog, active(Low)), power(95, 95, 0.75)},
	{"dog, 1 to 3 hours a day", "110 to 125 × kg^0.75", fediaf + "VII-7", keeping(Dog, active(Moderate)), power(110, 125, 0.75)},
	{"dog, 3 to 6 hours a day", "150 to 175 × kg^0.75", fediaf + "VII-7", keeping(Dog, active(High)), power(150, 175, 0.75)},
	{"dog that gains easily, at most", "90 × kg^0.75", fediaf + "VII-7", keeping(Dog, (*Pet).overweight), power(90, 90, 0.75)},
	{"Great Dane", "200 to 250 × kg^0.75", fediaf + "VII-7", keeping(Dog, breed("great-dane")), power(200, 250, 0.75)},
	{"Newfoundland", "80 to 132 × kg^0.75", fediaf + "VII-7", keeping(Dog, breed("newfoundland")), power(80, 132, 0.75)},
	{"dog, neutered", "1.6 × RER", sacn,
		keeping(Dog, companion(false)), resting(1.6, 1.6)},
	{"dog, not neutered", "1.8 × RER", sacn,
		keeping(Dog, companion(true)), resting(1.8, 1.8)},
	{"dog that gains easily", "1.4 × RER", sacn, keeping(Dog, (*Pet).overweight), resting(1.4, 1.4)},
	{"dog at light to moderate work", "2.0 to 3.0 × RER", sacn, keeping(Dog, active(High)), resting(2, 3)},
	{"dog, to lose weight", "1.0 × RER", sacn, slimming(Dog), resting(1, 1)},
	{"dog, to lose weight", "0.8 × RER", aaha14, slimming(Dog), resting(0.8, 0.8)},
	{"puppy", "(254.1 − 135 × kg / adult kg) × kg^0.75", fediaf + "VII-8b", growing(Dog, 0, 12), puppy},
	{"puppy, in steps", "210, 175 or 140 × kg^0.75", "FEDIAF 2021", growing(Dog, 0, 12), puppySteps},
	{"puppy up to 4 months", "3.0 × RER", sacn, growing(Dog, 0, 4), resting(3, 3)},
	{"puppy from 4 months on", "2.0 × RER", sacn, growing(Dog, 4, 12), resting(2, 2)},
}

// averageCat has its two ends from two equations, which cross at about 2.6 kg.
func averageCat(_ *Pet, kg float64) (low, high float64) {
	a, b := 100*math.Pow(kg, 0.67), 130*math.Pow(kg, 0.4)
	return min(a, b), max(a, b)
}

func puppy(p *Pet, kg float64) (low, high float64) {
	e := (254.1 - 135*kg/p.AdultWeight.Kilograms()) * math.Pow(kg, 0.75)
	return e, e
}

// puppySteps goes by the share of the adult weight reached: to 50 %, to 80 %, to 100 %.
func puppySteps(p *Pet, kg float64) (low, high float64) {
	share := kg / p.AdultWeight.Kilograms()
	factor := 140.0
	switch {
	case share <= 0.5:
		factor = 210
	case share <= 0.8:
		factor = 175
	}
	return factor * math.Pow(kg, 0.75), factor * math.Pow(kg, 0.75)
}
