package ration

import (
	"strconv"
	"strings"

	"mealtab/compiler/units"
)

// Food is dry food: its metabolizable energy as fed, as a range when it had to be computed.
type Food struct {
	Low, High units.KcalPerKg
	Computed  bool     // from the analysis
	Assumed   []string // parts of the analysis that were not given
}

// Bounds of what falls through a portion wheel. Labels of dry food say about 3500 to 4200 kcal/kg; below 2000 it is moist;
// moist food has some 700 to 1300 kcal/kg, and nothing that feeds an animal has less than 500 (from memory).
const (
	leastAny = 500
	leastDry = 2000
	mostDry  = 6500
)

// Labelled is a food with the energy its label gives.
func Labelled(d units.KcalPerKg) (Food, error) {
	f := Food{Low: d, High: d}
	return f, f.check("energy")
}

func (f Food) check(key string) error {
	const usual = "350 to 420 kcal/100 g, or 3500 to 4200 kcal/kg, are usual for dry food"
	switch {
	case !f.Computed && f.High < leastAny && f.High*1000 >= leastDry && f.High*1000 <= mostDry:
		return keyErrorf(key, "per g? "+usual, "%s is less than any food has", f.High)
	case !f.Computed && f.High < leastAny:
		return keyErrorf(key, "per 100 g? "+usual, "%s is less than any food has", f.High)
	case f.High < leastDry:
		return keyErrorf(key, "a portion wheel takes dry food only: 3500 to 4200 kcal/kg is usual", "%s is the energy of moist food", f.High)
	case f.Low > mostDry:
		return keyErrorf(key, "is the unit right? 3500 to 4200 kcal/kg is usual", "%s is more than dry food can have", f.Low)
	}
	return nil
}

// Analysis is what a label lists, in percent of the food as fed.
type Analysis struct {
	Protein, Fat, Fibre, Ash, Moisture float64
}

// The modified Atwater factors, kcal/g, and their mean error for dry food (Jewell and Jackson 2023, Front Vet Sci
// 10:1104695).
const (
	atwaterProtein, atwaterFat, atwaterCarbohydrate = 3.5, 8.5, 3.5
	atwaterError                                    = 350 // kcal/kg
)

// Carbohydrate is what is left: the nitrogen-free extract (NFE).
func (a Analysis) Carbohydrate() float64 {
	return 100 - a.Moisture - a.Protein - a.Fat - a.Fibre - a.Ash
}

// Energy by modified Atwater.
func (a Analysis) Energy() units.KcalPerKg {
	return units.KcalPerKg(10 * (atwaterProtein*a.Protein + atwaterFat*a.Fat + atwaterCarbohydrate*a.Carbohydrate()))
}

// What is assumed where a label is silent: dry food has about 8 to 10 % water (common practice), and some 7 % ash (from
// memory). A point more or less of either is 35 kcal/kg, a tenth of the method's own error.
const usualMoisture, usualAsh = 9, 7

// parts of an analysis, in the order in which they are checked.
var parts = []string{"protein", "fat", "fibre", "ash", "moisture"}

const analysisHint = `write for example "protein 34, fat 14, fibre 3, ash 7, moisture 8", in percent`

// ParseAnalysis reads "protein 34, fat 14, fibre 3, ash 7, moisture 8". Protein, fat and fibre must be there.
func ParseAnalysis(text string) (Food, error) {
	given := map[string]string{}
	for _, item := range strings.Split(text, ",") {
		words := strings.Fields(strings.NewReplacer("%", " ", "=", " ", ":", " ").Replace(strings.ToLower(item)))
		if len(words) != 2 {
			return Food{}, keyErrorf("analysis", analysisHint, "%q is not a part with its percentage", strings.TrimSpace(item))
		}
		name := analysisName(words[0])
		if _, twice := given[name]; twice {
			return Food{}, keyErrorf("analysis", "", "%s is given twice", name)
		}
		given[name] = words[1]
	}
	f, err := Analysed(given)
	if e, ok := err.(*KeyError); ok {
		e.Key = "analysis"
	}
	return f, err
}

// Analysed computes the energy of a food from the percentages of its parts. The error names the part.
func Analysed(given map[string]string) (Food, error) {
	a := Analysis{}
	figures := map[string]*float64{"protein": &a.Protein, "fat": &a.Fat, "fibre": &a.Fibre, "ash": &a.Ash, "moisture": &a.Moisture}
	for name := range given {
		if figures[name] == nil {
			return Food{}, keyErrorf(name, analysisHint, "%q is not a part of an analysis", name)
		}
	}
	for _, name := range parts {
		text, ok := given[name]
		if !ok {
			continue
		}
		n, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(text, "%")), 64)
		if err != nil || !(n >= 0 && n <= 100) {
			return Food{}, keyErrorf(name, analysisHint, "%q is not a percentage", text)
		}
		*figures[name] = n
	}
	return a.food(given)
}

func analysisName(word string) string {
	switch word {
	case "fiber":
		return "fibre"
	case "water":
		return "moisture"
	case "oils":
		return "fat"
	}
	return word
}

func (a Analysis) food(given map[string]string) (Food, error) {
	f := Food{Computed: true}
	for _, name := range []string{"protein", "fat", "fibre"} {
		if _, ok := given[name]; !ok {
			return Food{}, keyErrorf("protein", analysisHint, "the analysis has no %s", name)
		}
	}
	if _, ok := given["ash"]; !ok {
		a.Ash, f.Assumed = usualAsh, append(f.Assumed, "7 % ash (from memory)")
	}
	if _, ok := given["moisture"]; !ok {
		a.Moisture, f.Assumed = usualMoisture, append(f.Assumed, "9 % moisture")
	}
	if a.Carbohydrate() < 0 {
		return Food{}, keyErrorf("protein", "take all figures as fed, not in dry matter", "the parts add up to more than 100 %%")
	}
	f.Low, f.High = a.Energy()-atwaterError, a.Energy()+atwaterError
	return f, f.check("protein")
}
