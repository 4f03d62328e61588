package draft

import (
	"math/big"
	"strings"
)

// unit is a named multiple of a quantity's base unit, as an exact fraction.
type unit struct {
	names    []string
	num, den int64
}

// The units of the plan language. The pound is 0.45359237 kg exactly, the ounce its sixteenth (international
// yard and pound agreement, 1959).
var (
	massUnits = []unit{ // base: milligram
		{[]string{"g"}, 1000, 1},
		{[]string{"kg"}, 1_000_000, 1},
		{[]string{"mg"}, 1, 1},
		{[]string{"oz"}, 45359237, 1600},
		{[]string{"lb"}, 45359237, 100},
	}
	pocketUnits = []unit{{[]string{"pockets", "pocket"}, 1, 1}}
	spanUnits   = []unit{ // base: minute
		{[]string{"min"}, 1, 1},
		{[]string{"h"}, 60, 1},
		{[]string{"d"}, 1440, 1},
	}
	turnUnits = []unit{ // base: millisecond
		{[]string{"ms"}, 1, 1},
		{[]string{"s"}, 1000, 1},
	}
	trimUnits = []unit{ // base: microsecond
		{[]string{"us", "µs", "μs"}, 1, 1},
		{[]string{"ms"}, 1000, 1},
	}
)

// unitSynonyms maps units people write to those of the plan language.
var unitSynonyms = map[string]string{
	"gram": "g", "grams": "g", "gr": "g", "gm": "g", "kilo": "kg", "kilos": "kg", "kilogram": "kg", "kilograms": "kg",
	"milligram": "mg", "milligrams": "mg", "ounce": "oz", "ounces": "oz", "pound": "lb", "pounds": "lb", "lbs": "lb",
	"hour": "h", "hours": "h", "hr": "h", "hrs": "h", "m": "min", "mins": "min", "minute": "min", "minutes": "min",
	"day": "d", "days": "d", "sec": "s", "secs": "s", "second": "s", "seconds": "s", "msec": "ms", "millisecond": "ms",
	"milliseconds": "ms", "usec": "us", "portion": "pockets", "portions": "pockets", "pcs": "pockets", "slots": "pockets",
}

// quantity is a number with its unit as written, before conversion.
type quantity struct {
	number              *big.Rat
	numberAt, numberEnd int // byte offsets in the value
	unit                string
	unitAt, unitEnd     int
}

// scanQuantity reads one number and the unit after it, from s[at:].
func scanQuantity(s string, at int) (quantity, bool) {
	q := quantity{numberAt: at}
	i := at
	if i < len(s) && (s[i] == '-' || s[i] == '+') {
		i++
	}
	digits := i
	for i < len(s) && (s[i] >= '0' && s[i] <= '9' || s[i] == '.') {
		i++
	}
	// Twelve characters are more than any weight or time needs and keep the arithmetic small.
	if i == digits || i-digits > 12 {
		return q, false
	}
	q.numberEnd = i
	number, ok := new(big.Rat).SetString(s[at:i])
	if !ok || s[digits] == '.' || s[i-1] == '.' {
		return q, false
	}
	q.number = number
	for i < len(s) && s[i] == ' ' {
		i++
	}
	q.unitAt = i
	for i < len(s) && s[i] != ' ' && (s[i] < '0' || s[i] > '9') {
		i++
	}
	q.unit, q.unitEnd = s[q.unitAt:i], i
	return q, true
}

// in converts q to the base unit; ok is false when the unit is not among units.
func (q quantity) in(units []unit) (*big.Rat, bool) {
	for _, u := range units {
		for _, name := range u.names {
			if q.unit == name {
				return new(big.Rat).Mul(q.number, big.NewRat(u.num, u.den)), true
			}
		}
	}
	return nil, false
}

// unitList names units for a hint: "g, kg, mg, oz or lb".
func unitList(units ...[]unit) string {
	var names []string
	for _, list := range units {
		for _, u := range list {
			names = append(names, u.names[0])
		}
	}
	if len(names) == 1 {
		return names[0]
	}
	return strings.Join(names[:len(names)-1], ", ") + " or " + names[len(names)-1]
}

// round is the nearest whole number to a positive one, halves up.
func round(r *big.Rat) int64 {
	twice := new(big.Rat).Mul(r, big.NewRat(2, 1))
	return (new(big.Int).Quo(twice.Num(), twice.Denom()).Int64() + 1) / 2
}
