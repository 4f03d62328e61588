package units

import (
	"math/big"
	"strings"
)

// maxMass bounds what a mass can be here: the arithmetic of a year's food stays far from overflow.
const maxMass = 1000 * Kilogram

// ParseMass reads "18 g", "4.2 kg", "3.5 oz", "9.3 lb" or "9 lb 4 oz", rounded to the nearest milligram. It wants a mass
// above zero and at most a tonne.
func ParseMass(s string) (Milligrams, error) {
	m, _, err := ParseMassAs(s)
	return m, err
}

// ParseMassAs says too whether the mass was written in pounds or ounces, so that answers can be.
func ParseMassAs(s string) (m Milligrams, pounds bool, err error) {
	value, used, rest, err := massKind.take(s, s)
	if err != nil {
		return 0, false, err
	}
	pounds = used.name == "lb" || used.name == "oz"
	if rest != "" && used.name == "lb" {
		more, second, end, err := massKind.take(s, rest)
		if err != nil {
			return 0, false, err
		}
		if second.name != "oz" || end != "" || more.Sign() < 0 {
			return 0, false, errorf(`write for example "9 lb 4 oz"`, "unexpected %q after the pounds", rest)
		}
		value.Add(value, more)
	} else if rest != "" {
		return 0, false, errorf("write one number with one unit, such as "+massKind.example, "unexpected %q after the unit", rest)
	}
	if value.Sign() <= 0 || value.Cmp(big.NewRat(int64(maxMass), 1)) > 0 || round(value) == 0 {
		return 0, false, errorf("", "%q is outside 1 mg to 1000 kg", s)
	}
	return Milligrams(round(value)), pounds, nil
}

// ParseDensity reads the energy of food as labels give it: "3800 kcal/kg", "380 kcal/100 g", "3.8 kcal/g", "15.9 MJ/kg",
// "108 kcal/oz". A cup is refused: it measures the scoop, not the food.
func ParseDensity(s string) (KcalPerKg, error) {
	const example = `write for example "3800 kcal/kg" or "380 kcal/100 g"`
	top, bottom, found := strings.Cut(strings.Replace(s, " per ", "/", 1), "/")
	if !found {
		return 0, errorf(example, "%q is not an energy in a mass of food", s)
	}
	bottom = strings.TrimSpace(bottom)
	if strings.HasPrefix(strings.ToLower(bottom), "cup") || strings.HasPrefix(strings.ToLower(bottom), "can") {
		return 0, errorf(`labels give the energy in a kilogram as well: "3800 kcal/kg"`, "%q: a cup is not a weight of food", s)
	}
	energy, err := energyKind.one(strings.TrimSpace(top))
	if err != nil {
		return 0, err
	}
	if bottom == "" || bottom[0] < '0' || bottom[0] > '9' {
		bottom = "1 " + bottom
	}
	mass, err := massKind.one(bottom)
	if err != nil {
		return 0, err
	}
	if mass.Sign() <= 0 || energy.Sign() <= 0 {
		return 0, errorf(example, "%q is not an energy of food", s)
	}
	f, _ := new(big.Rat).Quo(energy, mass.Quo(mass, big.NewRat(int64(Kilogram), 1))).Float64()
	return KcalPerKg(f), nil
}
