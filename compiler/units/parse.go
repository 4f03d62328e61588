package units

import (
	"fmt"
	"math/big"
	"strings"
)

// Error says what is wrong with a quantity that was written, and what would be right.
type Error struct {
	Message string
	Hint    string // may be empty
}

func (e *Error) Error() string {
	if e.Hint == "" {
		return e.Message
	}
	return e.Message + ": " + e.Hint
}

func errorf(hint, format string, args ...any) *Error {
	return &Error{fmt.Sprintf(format, args...), hint}
}

// unit is a named multiple of a base unit, as an exact fraction.
type unit struct {
	name     string
	num, den int64
}

// kind is a quantity that can be read.
type kind struct {
	units   []unit
	example string // for hints, in quotes
}

var (
	massKind    = kind{[]unit{{"g", 1000, 1}, {"kg", 1_000_000, 1}, {"mg", 1, 1}, {"oz", 45359237, 1600}, {"lb", 45359237, 100}}, `"4.2 kg"`}
	energyKind  = kind{[]unit{{"kcal", 1, 1}, {"kJ", 1000, 4184}, {"MJ", 1_000_000, 4184}}, `"190 kcal"`}
	chargeKind  = kind{[]unit{{"mAh", 1, 1}, {"Ah", 1000, 1}}, `"15 Ah"`}
	currentKind = kind{[]unit{{"mA", 1, 1}, {"A", 1000, 1}, {"uA", 1, 1000}, {"µA", 1, 1000}, {"μA", 1, 1000}}, `"4.2 uA"`}
	voltKind    = kind{[]unit{{"V", 1000, 1}, {"mV", 1, 1}}, `"3.6 V"`}
	spanKind    = kind{[]unit{{"ms", 1, 1}, {"s", 1000, 1}, {"min", 60_000, 1}}, `"3.9 s"`}
	pulseKind   = kind{[]unit{{"us", 1, 1}, {"µs", 1, 1}, {"μs", 1, 1}, {"ms", 1000, 1}}, `"-12 us"`}
)

// synonyms maps units people write to the ones read here, in lower case.
var synonyms = map[string]string{
	"gram": "g", "grams": "g", "gr": "g", "gm": "g", "kilo": "kg", "kilos": "kg", "kilogram": "kg", "kilograms": "kg",
	"milligram": "mg", "milligrams": "mg", "ounce": "oz", "ounces": "oz", "pound": "lb", "pounds": "lb", "lbs": "lb",
	"cal": "kcal", "cals": "kcal", "calories": "kcal", "calorie": "kcal", "kcals": "kcal", "kilocalories": "kcal",
	"kj": "kJ", "kilojoules": "kJ", "mj": "MJ", "mah": "mAh", "ah": "Ah", "ma": "mA", "ua": "uA", "a": "A", "v": "V", "mv": "mV",
	"volts": "V", "sec": "s", "secs": "s", "second": "s", "seconds": "s", "msec": "ms", "millisecond": "ms",
	"milliseconds": "ms", "usec": "us", "m": "min", "minutes": "min",
}

func (k kind) names() string {
	var list []string
	for _, u := range k.units {
		if !strings.ContainsAny(u.name, "µμ") {
			list = append(list, u.name)
		}
	}
	return strings.Join(list[:len(list)-1], ", ") + " or " + list[len(list)-1]
}

func (k kind) find(name string) (unit, bool) {
	for _, u := range k.units {
		if u.name == name {
			return u, true
		}
	}
	return unit{}, false
}

// scan takes one number and the letters after it; rest is what follows. The number is nil if there is none.
func scan(s string) (number *big.Rat, name, rest string) {
	s = strings.TrimLeft(s, " ")
	end := 0
	for end < len(s) && (s[end] >= '0' && s[end] <= '9' || s[end] == '.' || end == 0 && (s[0] == '-' || s[0] == '+')) {
		end++
	}
	digits := strings.TrimLeft(s[:end], "+-")
	// Twelve characters are more than any quantity here needs and keep the arithmetic small.
	if digits == "" || len(digits) > 12 || digits[0] == '.' || digits[len(digits)-1] == '.' {
		return nil, "", s
	}
	number, ok := new(big.Rat).SetString(s[:end])
	if !ok {
		return nil, "", s
	}
	s = strings.TrimLeft(s[end:], " ")
	end = 0
	for end < len(s) && s[end] != ' ' && (s[end] < '0' || s[end] > '9') {
		end++
	}
	return number, s[:end], strings.TrimLeft(s[end:], " ")
}

// take reads one quantity in base units.
func (k kind) take(whole, s string) (value *big.Rat, used unit, rest string, err error) {
	number, name, rest := scan(s)
	switch {
	case number == nil || strings.HasPrefix(name, ","):
		return nil, unit{}, "", errorf(k.commaHint(whole), "%q is not a number with a unit (%s)", whole, k.names())
	case name == "":
		return nil, unit{}, "", errorf("write for example "+k.example, "%q has no unit (%s)", whole, k.names())
	}
	used, ok := k.find(name)
	if !ok {
		hint := ""
		if better, known := synonyms[strings.ToLower(name)]; known {
			if _, fits := k.find(better); fits {
				hint = fmt.Sprintf("did you mean %q?", strings.TrimSpace(strings.Replace(whole, name, better, 1)))
			}
		}
		return nil, unit{}, "", errorf(hint, "%q is not a unit for this (%s)", name, k.names())
	}
	return number.Mul(number, big.NewRat(used.num, used.den)), used, rest, nil
}

// commaHint corrects a decimal comma.
func (k kind) commaHint(s string) string {
	if fixed := strings.Replace(s, ",", ".", 1); fixed != s {
		if number, name, _ := scan(fixed); number != nil && name != "" {
			return fmt.Sprintf("write the decimal point as a point: %q", strings.TrimSpace(fixed))
		}
	}
	return "write for example " + k.example
}

// one reads exactly one quantity.
func (k kind) one(s string) (*big.Rat, error) {
	value, _, rest, err := k.take(s, s)
	if err != nil {
		return nil, err
	}
	if rest != "" {
		return nil, errorf("write one number with one unit, such as "+k.example, "unexpected %q after the unit", rest)
	}
	return value, nil
}

func (k kind) float(s string) (float64, error) {
	value, err := k.one(s)
	if err != nil {
		return 0, err
	}
	f, _ := value.Float64()
	return f, nil
}

// round is the nearest whole number, halves away from zero.
func round(r *big.Rat) int64 {
	twice := new(big.Rat).Mul(r, big.NewRat(2, 1))
	n := new(big.Int).Quo(twice.Num(), twice.Denom()).Int64()
	if n >= 0 {
		return (n + 1) / 2
	}
	return -((-n + 1) / 2)
}

// ParseEnergy reads "190 kcal" or "795 kJ".
func ParseEnergy(s string) (Kilocalories, error) {
	f, err := energyKind.float(s)
	return Kilocalories(f), err
}

// ParseCharge reads "15 Ah" or "220 mAh".
func ParseCharge(s string) (MilliampHours, error) {
	f, err := chargeKind.float(s)
	return MilliampHours(f), err
}

// ParseCurrent reads "180 mA", "4.2 uA" or "1.5 A".
func ParseCurrent(s string) (Milliamps, error) {
	f, err := currentKind.float(s)
	return Milliamps(f), err
}

// ParseVoltage reads "3.6 V" or "850 mV".
func ParseVoltage(s string) (Millivolts, error) {
	f, err := voltKind.float(s)
	return Millivolts(f), err
}

// ParseSpan reads "310 ms", "3.9 s" or "2 min".
func ParseSpan(s string) (Milliseconds, error) {
	f, err := spanKind.float(s)
	return Milliseconds(f), err
}

// ParsePulse reads "-12 us"; a fraction of a microsecond is refused, as plans refuse it.
func ParsePulse(s string) (Microseconds, error) {
	value, err := pulseKind.one(s)
	if err == nil && !value.IsInt() {
		err = errorf("", "%q is not a whole number of us", s)
	}
	if err != nil {
		return 0, err
	}
	return Microseconds(value.Num().Int64()), nil
}
