package ration

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"mealtab/compiler/units"
)

func pet(t require.TestingT, pairs ...string) Pet {
	given := map[string]string{}
	for i := 0; i < len(pairs); i += 2 {
		given[pairs[i]] = pairs[i+1]
	}
	p, err := FromKeys(given)
	require.NoError(t, err)
	return p
}

// row is the only row of an estimate whose formula is this.
func row(t *testing.T, p Pet, formula string) Range {
	e, err := For(p)
	require.NoError(t, err)
	for _, r := range e.Rows {
		if r.Formula == formula {
			return r.Range
		}
	}
	require.Fail(t, "no such row", "%s in %v", formula, e.Rows)
	return Range{}
}

// RER by pound: Cat Healthy protocol 4, table 1, which takes 2.2 lb for a kilogram and rounds; within 1 kcal.
func TestRestingByPound(t *testing.T) {
	for lb, want := range map[float64]float64{
		1: 39, 2: 65, 3: 88, 4: 110, 5: 130, 6: 149, 7: 167, 8: 184, 9: 201, 10: 218, 15: 295, 20: 366, 25: 433,
	} {
		assert.InDelta(t, want, rer(lb/2.2), 1, "%v lb", lb)
	}
}

// Worked examples of public energy calculators: 10, 15 and 20 kg.
func TestRestingByKilogram(t *testing.T) {
	for kg, want := range map[float64]float64{10: 394, 15: 533.5, 20: 662} {
		assert.InDelta(t, want, rer(kg), 0.5, "%v kg", kg)
	}
}

// FEDIAF Nutritional Guidelines, annex 7.2 (tables VII-6, VII-7, VII-9), as quoted in open reviews. For the cat of 4 kg the
// table prints 189 where 75 × 4^0.67 is 189.9: it truncates.
func TestFEDIAFExamples(t *testing.T) {
	dog := pet(t, "species", "dog", "weight", "15 kg", "age", "5 y", "condition", "5")
	assert.InDelta(t, 838, float64(row(t, dog, "110 × kg^0.75").High), 0.5)
	cat := pet(t, "species", "cat", "weight", "4 kg", "activity", "low")
	assert.InDelta(t, 189, float64(row(t, cat, "52 to 75 × kg^0.67").High), 1)
	cat.Activity = High
	assert.InDelta(t, 253, float64(row(t, cat, "100 × kg^0.67").High), 0.5)
	dane := pet(t, "species", "dog", "weight", "67.5 kg", "breed", "great-dane", "age", "4 y")
	assert.InDelta(t, 4710, float64(row(t, dane, "200 to 250 × kg^0.75").Low), 0.5)
}

// WSAVA, "Calorie Needs for an Average Healthy Adult Cat in Ideal Body Condition", July 2020: 1, 4 and 7 kg. Its figures are
// rounded to 5 or 10 kcal.
func TestWSAVATable(t *testing.T) {
	for weight, want := range map[string]Range{"1 kg": {100, 130}, "4 kg": {225, 250}, "7 kg": {280, 370}} {
		got := row(t, pet(t, "species", "cat", "weight", weight), "100 × kg^0.67 and 130 × kg^0.4")
		assert.InDelta(t, float64(want.Low), float64(got.Low), 5, weight)
		assert.InDelta(t, float64(want.High), float64(got.High), 5, weight)
	}
}

// NRC's booklet for cat owners (2006): a lean cat of 10 lb needs about 280 kcal, an overweight one of that ideal weight 240.
// The booklet rounds; 5 kcal.
func TestNRCBooklet(t *testing.T) {
	lean := pet(t, "species", "cat", "weight", "10 lb", "activity", "high")
	assert.InDelta(t, 280, float64(row(t, lean, "100 × kg^0.67").High), 5)
	fat := pet(t, "species", "cat", "weight", "13 lb", "ideal", "10 lb", "condition", "7")
	assert.InDelta(t, 240, float64(row(t, fat, "130 × kg^0.4").High), 5)
}

// Computed from the formulas alone with 40 digits (Python's decimal module), rounded to 0.1 kcal.
func TestExactVectors(t *testing.T) {
	for _, v := range []struct{ kg, rer70, c75, c100, d95, d110, d130, n130 float64 }{
		{1, 70.0, 75.0, 100.0, 95.0, 110.0, 130.0, 130.0},
		{2, 117.7, 119.3, 159.1, 159.8, 185.0, 218.6, 171.5},
		{3, 159.6, 156.6, 208.8, 216.6, 250.7, 296.3, 201.7},
		{4, 198.0, 189.9, 253.2, 268.7, 311.1, 367.7, 226.3},
		{5, 234.1, 220.5, 294.0, 317.7, 367.8, 434.7, 247.5},
		{6, 268.4, 249.1, 332.2, 364.2, 421.7, 498.4, 266.2},
		{7, 301.2, 276.2, 368.3, 408.8, 473.4, 559.5, 283.1},
		{10, 393.6, 350.8, 467.7, 534.2, 618.6, 731.0, 326.5},
	} {
		assert.InDelta(t, v.rer70, rer(v.kg), 0.05001)
		weight := fmt.Sprintf("%v kg", v.kg)
		cat := pet(t, "species", "cat", "weight", weight, "activity", "moderate")
		assert.InDelta(t, v.c75, float64(row(t, cat, "52 to 75 × kg^0.67").High), 0.05001, weight)
		assert.InDelta(t, v.c100, float64(row(t, cat, "100 × kg^0.67").High), 0.05001, weight)
		cat.Condition, cat.Ideal = 6, cat.Weight
		assert.InDelta(t, v.n130, float64(row(t, cat, "130 × kg^0.4").High), 0.05001, weight)
		dog := pet(t, "species", "dog", "weight", weight, "activity", "moderate")
		for age, want := range map[string]float64{"2 y": v.d130, "5 y": v.d110, "9 y": v.d95} {
			dog.AgeDays, _ = parseAge(age)
			formula := map[string]string{"2 y": "130 × kg^0.75", "5 y": "110 × kg^0.75", "9 y": "95 × kg^0.75"}[age]
			assert.InDelta(t, want, float64(row(t, dog, formula).High), 0.05001, "%s %s", weight, age)
		}
	}
	for kg, want := range map[float64][4]float64{15: {533.5, 724.1, 838.4, 990.9}, 20: {662.0, 898.5, 1040.3, 1229.5},
		30: {897.3, 1217.8, 1410.0, 1666.4}, 40: {1113.4, 1511.0, 1749.6, 2067.7}} {
		for i, factor := range []float64{70, 95, 110, 130} {
			_, got := power(factor, factor, 0.75)(nil, kg)
			assert.InDelta(t, want[i], got, 0.05001)
		}
	}
}

// FEDIAF table VII-8b at its two ends, by hand: a puppy at its adult weight of 20 kg takes (254.1 − 135) × 20^0.75 = 1126.4.
func TestGrowth(t *testing.T) {
	grown := pet(t, "species", "dog", "weight", "20 kg", "adult", "20 kg", "age", "11 months")
	assert.InDelta(t, 1126.4, float64(row(t, grown, "(254.1 − 135 × kg / adult kg) × kg^0.75").High), 0.1)
	assert.InDelta(t, 140*math.Pow(20, 0.75), float64(row(t, grown, "210, 175 or 140 × kg^0.75").High), 0.1)
	half := pet(t, "species", "dog", "weight", "10 kg", "adult", "20 kg", "age", "14 weeks")
	assert.InDelta(t, 210*math.Pow(10, 0.75), float64(row(t, half, "210, 175 or 140 × kg^0.75").High), 0.1)
	assert.InDelta(t, 3*rer(10), float64(row(t, half, "3.0 × RER").High), 0.1)
	kitten := pet(t, "species", "cat", "weight", "2 kg", "age", "5 months")
	got := row(t, kitten, "1.75 to 2.0 × (75 to 100 × kg^0.67)")
	assert.InDelta(t, 1.75*119.3, float64(got.Low), 0.1)
	assert.InDelta(t, 2*159.1, float64(got.High), 0.1)
}

// A lean cat of 4 kg: over all published equations about 130 to 280 kcal (computed from the tables named above).
func TestSpread(t *testing.T) {
	e, err := For(pet(t, "species", "cat", "weight", "4 kg"))
	require.NoError(t, err)
	assert.Equal(t, "132 to 277 kcal", e.Range.String())
	assert.Equal(t, []string{"adult (no age given)", "lives indoors", "body condition ideal (5/9)"}, e.Assumed)
}

// 75 × 4^0.67 = 190 kcal of a food of 3.8 kcal/g are 50 g a day (worked by hand).
func TestGrams(t *testing.T) {
	f, err := Labelled(3800)
	require.NoError(t, err)
	e := &Estimate{Range: Range{189.9, 189.9}}
	g, err := e.Of(Pet{Species: Cat}, f, 5)
	require.NoError(t, err)
	assert.Equal(t, 10*units.Gram, g.First)
	assert.InDelta(t, 50, g.Day[0].Grams(), 0.05)
	g, err = e.Of(Pet{Species: Cat, Extras: 18.9}, f, 5)
	require.NoError(t, err)
	assert.False(t, g.ExtrasToo, "a tenth is allowed (AAHA 2014)")
	assert.InDelta(t, 45, g.Day[0].Grams(), 0.05)
	g, err = e.Of(Pet{Species: Cat, Extras: 20}, f, 0)
	require.NoError(t, err)
	assert.True(t, g.ExtrasToo)
	_, err = e.Of(Pet{Species: Cat, Extras: 200}, f, 0)
	assert.EqualError(t, err, "extras of 200 kcal leave nothing for food: give less of them, or ask a veterinarian")
}

// 34 % protein, 14 % fat, 34 % carbohydrate: 357 kcal/100 g, a published worked example of modified Atwater. The error of
// 350 kcal/kg is that of Jewell and Jackson 2023, Front Vet Sci 10:1104695.
func TestModifiedAtwater(t *testing.T) {
	f, err := ParseAnalysis("protein 34, fat 14 %, fibre 3, ash=7, moisture: 8")
	require.NoError(t, err)
	assert.InDelta(t, 3570-350, float64(f.Low), 1e-9)
	assert.InDelta(t, 3570+350, float64(f.High), 1e-9)
	assert.Empty(t, f.Assumed)
	f, err = ParseAnalysis("protein 34, oils 14, fiber 3")
	require.NoError(t, err)
	assert.Equal(t, []string{"7 % ash (from memory)", "9 % moisture"}, f.Assumed)
	assert.InDelta(t, 10*(3.5*34+8.5*14+3.5*33)-350, float64(f.Low), 1e-9)
	for text, want := range map[string]string{
		"protein 34, fat 14":                        `the analysis has no fibre: write for example "protein 34, fat 14, fibre 3, ash 7, moisture 8", in percent`,
		"protein 34, fat 14, fibre x":               `"x" is not a percentage: write for example "protein 34, fat 14, fibre 3, ash 7, moisture 8", in percent`,
		"protein 34, taurine 1":                     `"taurine" is not a part of an analysis: write for example "protein 34, fat 14, fibre 3, ash 7, moisture 8", in percent`,
		"protein 34, protein 34":                    "protein is given twice",
		"protein":                                   `"protein" is not a part with its percentage: write for example "protein 34, fat 14, fibre 3, ash 7, moisture 8", in percent`,
		"protein 60, fat 50, fibre 3":               "the parts add up to more than 100 %: take all figures as fed, not in dry matter",
		"protein 9,fat 4,fibre 1,ash 2,moisture 82": "1075 kcal/kg is the energy of moist food: a portion wheel takes dry food only: 3500 to 4200 kcal/kg is usual",
	} {
		_, err := ParseAnalysis(text)
		assert.EqualError(t, err, want, text)
	}
	for energy, want := range map[units.KcalPerKg]string{
		380:  "380 kcal/kg is less than any food has: per 100 g? 350 to 420 kcal/100 g, or 3500 to 4200 kcal/kg, are usual for dry food",
		38:   "38 kcal/kg is less than any food has: per 100 g? 350 to 420 kcal/100 g, or 3500 to 4200 kcal/kg, are usual for dry food",
		3.8:  "3.8 kcal/kg is less than any food has: per g? 350 to 420 kcal/100 g, or 3500 to 4200 kcal/kg, are usual for dry food",
		1000: "1000 kcal/kg is the energy of moist food: a portion wheel takes dry food only: 3500 to 4200 kcal/kg is usual",
	} {
		_, err = Labelled(energy)
		assert.EqualError(t, err, want)
	}
	_, err = Labelled(38_000)
	assert.EqualError(t, err, "38000 kcal/kg is more than dry food can have: is the unit right? 3500 to 4200 kcal/kg is usual")
}

func TestRefusals(t *testing.T) {
	for _, c := range []struct {
		pairs []string
		want  string
	}{
		{[]string{"state", "pregnant"}, "no ration is computed for a cat: what a pregnant animal needs changes from week to week. Please ask a veterinarian."},
		{[]string{"state", "nursing"}, "no ration is computed for a cat: what a nursing animal needs changes from week to week. Please ask a veterinarian."},
		{[]string{"state", "diabetic"}, "no ration is computed for a cat: with insulin, food and dose belong together, in amount and in time. Please ask a veterinarian."},
		{[]string{"state", "ill", "name", "Moss"}, "no ration is computed for Moss: illness changes what it needs and what it must not have. Please ask a veterinarian."},
		{[]string{"state", "losing-weight"}, "no ration is computed for a cat: losing weight without a known reason can be a sign of illness. Please ask a veterinarian."},
		{[]string{"age", "7 weeks"}, "no ration is computed for a cat: it is younger than 8 weeks. Please ask a veterinarian."},
		{[]string{"condition", "3/9"}, "no ration is computed for a cat: a body condition of 3/9 is too thin. Please ask a veterinarian."},
		{[]string{"condition", "5", "lose", "true"}, "no ration is computed for a cat: at a body condition of 5/9 there is nothing to lose. Please ask a veterinarian."},
		{[]string{"age", "5 months", "condition", "7", "lose", "true"}, "no ration is computed for a cat: it is still growing and must not lose weight. Please ask a veterinarian."},
		{[]string{"species", "dog", "weight", "20 kg", "age", "5 months", "adult", "60 kg"}, "no ration is computed for a dog: puppies of giant breeds must grow slowly, and too much or too little food harms their joints. Please ask a veterinarian."},
	} {
		_, err := For(pet(t, append([]string{"species", "cat", "weight", "4 kg"}, c.pairs...)...))
		var refusal *Refusal
		require.ErrorAs(t, err, &refusal)
		assert.EqualError(t, err, c.want)
	}
}

func TestKeyErrors(t *testing.T) {
	for _, c := range []struct {
		pairs     []string
		key, want string
	}{
		{[]string{"species", "rabbit"}, "species", `"rabbit" is not known: cat, dog`},
		{[]string{"weight", "4"}, "weight", `"4" has no unit (g, kg, mg, oz or lb): write for example "4.2 kg"`},
		{[]string{"weight", "4 lb 1 oz", "condition", "3/5"}, "condition", `"3/5" is on the five-point scale: on the nine-point scale 5 is ideal: double the score and subtract 1`},
		{[]string{"condition", "11"}, "condition", `"11" is outside 1 to 9: from 1 (far too thin) over 5 (ideal) to 9 (obese)`},
		{[]string{"condition", "fine"}, "condition", `"fine" is not a body condition score: a whole number from 1 (far too thin) over 5 (ideal) to 9 (obese)`},
		{[]string{"age", "3"}, "age", `"3" is not a number with a unit: write for example "3 y", "10 months" or "14 weeks"`},
		{[]string{"age", "3 moons"}, "age", `"3 moons" is not an age: write for example "3 y", "10 months" or "14 weeks"`},
		{[]string{"age", "60 y"}, "age", `"60 y" is not an age of a cat or dog`},
		{[]string{"extras", "20"}, "extras", `"20" has no unit (kcal, kJ or MJ): write for example "190 kcal"`},
		{[]string{"neutered", "maybe"}, "neutered", `"maybe" is not known: true, false`},
		{[]string{"colour", "black"}, "colour", "colour does not describe a pet: there are name, species, weight, ideal, condition, age, neutered, activity, adult, breed, state, lose, extras"},
	} {
		given := map[string]string{"species": "cat", "weight": "4 kg"}
		for i := 0; i < len(c.pairs); i += 2 {
			given[c.pairs[i]] = c.pairs[i+1]
		}
		_, err := FromKeys(given)
		var key *KeyError
		require.ErrorAs(t, err, &key)
		assert.Equal(t, c.key, key.Key)
		assert.EqualError(t, err, c.want)
	}
	for _, c := range []struct {
		p    Pet
		want string
	}{
		{Pet{}, "the species is missing: cat or dog"},
		{Pet{Species: "ferret"}, `there are no equations here for "ferret": cat or dog`},
		{Pet{Species: Cat}, `the weight is missing: for example "4.2 kg"`},
		{Pet{Species: Cat, Weight: 42 * units.Kilogram}, "no cat weighs 42 kg: is the unit right?"},
		{Pet{Species: Dog, Weight: 4 * units.Kilogram, AgeDays: 100}, `a puppy's ration needs its expected adult weight: give the weight it will have, for example "25 kg"`},
		{Pet{Species: Dog, Weight: 30 * units.Kilogram, AgeDays: 100, AdultWeight: 20 * units.Kilogram}, "the puppy weighs 30 kg, more than the 20 kg it is expected to"},
		{Pet{Species: Cat, Weight: 12 * units.Kilogram, Ideal: 3 * units.Kilogram}, "an ideal weight of 3 kg does not go with 12 kg: is the unit right?"},
		{Pet{Species: Cat, Weight: 6 * units.Kilogram, Lose: true}, "losing weight needs a goal: give the weight to reach, or the body condition (1 to 9)"},
		{Pet{Species: Cat, Weight: 6 * units.Kilogram, Breed: "great-dane"}, "the breeds with equations of their own are dogs"},
	} {
		_, err := For(c.p)
		assert.EqualError(t, err, c.want)
	}
}

// AAHA 2014: slimming cats begin at 0.8 × RER of the ideal weight and never go below 0.6 without a veterinarian.
func TestSlimming(t *testing.T) {
	e, err := For(pet(t, "species", "cat", "weight", "6 kg", "ideal", "5 kg", "condition", "7", "lose", "true"))
	require.NoError(t, err)
	require.Len(t, e.Rows, 1)
	assert.InDelta(t, 0.8*234.1, float64(e.High), 0.1)
	assert.InDelta(t, 0.6*234.1, float64(e.Floor), 0.1)
	e, err = For(pet(t, "species", "dog", "weight", "24 kg", "condition", "7", "lose", "true"))
	require.NoError(t, err)
	assert.True(t, e.WeightFromCondition)
	assert.InDelta(t, 24/1.3, e.Weight[0].Kilograms(), 1e-6)
	assert.InDelta(t, 24/1.2, e.Weight[1].Kilograms(), 1e-6)
	assert.InDelta(t, 0.8*rer(24/1.3), float64(e.Low), 0.01)
	assert.InDelta(t, rer(20), float64(e.High), 0.01)
}

func TestVerdict(t *testing.T) {
	g := &Grams{Day: [2]units.Milligrams{40_000, 60_000}}
	assert.True(t, Sum(100_000, g, g).Good())
	assert.Equal(t, "the plan gives 100 g a day; the equations say 80 to 120 g", Sum(100_000, g, g).String())
	assert.Equal(t, "the plan gives 30 g a day, 25 % less than the least that the equations say (40 to 60 g)", Sum(30_000, g).String())
	assert.Equal(t, "the plan gives 90 g a day, 50 % more than the most that the equations say (40 to 60 g)", Sum(90_000, g).String())
}

// anyPet draws pets of all kinds, within the keys.
func anyPet() *rapid.Generator[Pet] {
	return rapid.Custom(func(t *rapid.T) Pet {
		return Pet{
			Species:     rapid.SampledFrom([]Species{Cat, Dog}).Draw(t, "species"),
			Weight:      units.Milligrams(rapid.Int64Range(100_000, 130_000_000).Draw(t, "mg")),
			Ideal:       units.Milligrams(rapid.SampledFrom([]int64{0, 0, 3_500_000, 20_000_000}).Draw(t, "ideal")),
			Condition:   rapid.IntRange(0, 9).Draw(t, "condition"),
			AgeDays:     rapid.SampledFrom([]int{0, 40, 80, 150, 300, 365, 366, 900, 2000, 5000}).Draw(t, "age"),
			Intact:      rapid.Bool().Draw(t, "intact"),
			Activity:    rapid.SampledFrom([]Activity{"", Low, Moderate, High}).Draw(t, "activity"),
			AdultWeight: units.Milligrams(rapid.SampledFrom([]int64{0, 10_000_000, 40_000_000}).Draw(t, "adult")),
			Breed:       rapid.SampledFrom([]string{"", "", "great-dane", "newfoundland"}).Draw(t, "breed"),
			Lose:        rapid.Bool().Draw(t, "lose"),
		}
	})
}

// Every pet that is not refused gets at least one equation, and a range that holds them all.
func TestEveryPetHasAnEquation(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := anyPet().Draw(t, "pet")
		e, err := For(p)
		if err != nil {
			return
		}
		require.NotEmpty(t, e.Rows)
		for _, r := range e.Rows {
			assert.True(t, r.Low > 0 && r.Low <= r.High && r.Low >= e.Low && r.High <= e.High, "%+v", r)
			assert.NotEmpty(t, r.Source)
		}
		f, err := Labelled(3800)
		require.NoError(t, err)
		g, err := e.Of(p, f, 0)
		require.NoError(t, err)
		assert.True(t, g.Day[0] <= g.Begin && g.Begin <= g.Day[1]+1, "%+v", g)
	})
}
