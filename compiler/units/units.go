// Package units holds the quantities of feeding and of power as types that do not mix, and reads and prints them as people
// write them; counts and spans of time too.
//
// In: text such as "4.2 kg", "9 lb 4 oz", "380 kcal/100 g", "15 Ah". Out: typed numbers, each named after its base unit.
// Products of quantities are functions here, so that a conversion stands once. Unit names, the exact pound and the refusal
// of a decimal comma are those of the plan language (package reader); this package adds energies, charges and compound
// pounds and ounces, which plans have no use for. The pound is 0.45359237 kg exactly (international yard and pound
// agreement, 1959); the thermochemical calorie is 4.184 J exactly (ISO 31-4, annex).
package units

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Milligrams is a mass.
type Milligrams int64

// Kilocalories is metabolizable energy.
type Kilocalories float64

// KcalPerKg is the energy of food as fed: kilocalories in a kilogram.
type KcalPerKg float64

// Seconds is a long time span, as added up over a year.
type Seconds float64

// Milliseconds is a short time span.
type Milliseconds float64

// Microseconds is a change of a servo pulse.
type Microseconds int

// Millivolts is a voltage.
type Millivolts float64

// Milliamps is a current.
type Milliamps float64

// MilliampHours is a charge.
type MilliampHours float64

// Constants of the conversions.
const (
	Gram     Milligrams = 1000
	Kilogram Milligrams = 1_000_000

	KilojoulePerKcal = 4.184 // exact

	Hour Seconds = 3600
	Day  Seconds = 24 * Hour
	Year Seconds = 365 * Day
)

// poundMg is a pound in milligrams, exactly; an ounce is its sixteenth.
const poundMg = 453592.37

// Kilograms is the number of kilograms, for equations.
func (m Milligrams) Kilograms() float64 { return float64(m) / float64(Kilogram) }

// Grams is the number of grams.
func (m Milligrams) Grams() float64 { return float64(m) / float64(Gram) }

// FromKilograms rounds to the milligram.
func FromKilograms(kg float64) Milligrams { return Milligrams(math.Round(kg * float64(Kilogram))) }

// FromGrams rounds to the milligram.
func FromGrams(g float64) Milligrams { return Milligrams(math.Round(g * float64(Gram))) }

// Of is the food that has so much energy.
func (d KcalPerKg) Of(e Kilocalories) Milligrams { return FromKilograms(float64(e) / float64(d)) }

// In is the energy of so much food.
func (d KcalPerKg) In(m Milligrams) Kilocalories { return Kilocalories(float64(d) * m.Kilograms()) }

// Charge is what a current carries in a time.
func Charge(i Milliamps, t Seconds) MilliampHours {
	return MilliampHours(float64(i) * float64(t) / float64(Hour))
}

// Through is the charge that a source at v gives when out flows at vOut behind a converter of that efficiency.
func (out MilliampHours) Through(vOut, v Millivolts, efficiency float64) MilliampHours {
	return MilliampHours(float64(out) * float64(vOut) / float64(v) / efficiency)
}

// Seconds is the same span.
func (t Milliseconds) Seconds() Seconds { return Seconds(t / 1000) }

// String is the shortest exact form: "18 g", "6.2 g", "4.25 kg".
func (m Milligrams) String() string {
	if m >= Kilogram || m <= -Kilogram {
		return decimal(int64(m), 6) + " kg"
	}
	return m.InGrams()
}

// InGrams is exact and in grams, however many: "6.2 g", "1400 g".
func (m Milligrams) InGrams() string { return decimal(int64(m), 3) + " g" }

// Short leaves milligrams out from a kilogram on: "6.2 g", "1.404 kg".
func (m Milligrams) Short() string {
	if m >= Kilogram {
		m -= m % Gram
	}
	return m.String()
}

// Tenths leaves out what is less than a tenth of a gram: "6.2 g", "18.0 g".
func (m Milligrams) Tenths() string { return fmt.Sprintf("%d.%d g", m/Gram, m%Gram/100) }

// decimal writes n / 10^digits without zeros at the end.
func decimal(n int64, digits int) string {
	sign := ""
	if n < 0 {
		sign, n = "-", -n
	}
	s := fmt.Sprintf("%0*d", digits+1, n)
	whole, rest := s[:len(s)-digits], strings.TrimRight(s[len(s)-digits:], "0")
	if rest == "" {
		return sign + whole
	}
	return sign + whole + "." + rest
}

// Pounds is the mass in pounds and ounces to a tenth of an ounce, "9 lb 4.1 oz"; below a pound in ounces only, and below
// four to a hundredth.
func (m Milligrams) Pounds() string {
	if oz := float64(m) / poundMg * 16; oz < 4 {
		return trimmed(oz, 2) + " oz"
	}
	tenths := int64(math.Round(float64(m) / poundMg * 160))
	lb, rest := tenths/160, tenths%160
	oz := trimmed(float64(rest)/10, 1) + " oz"
	switch {
	case lb == 0:
		return oz
	case rest == 0:
		return strconv.FormatInt(lb, 10) + " lb"
	}
	return strconv.FormatInt(lb, 10) + " lb " + oz
}

// String is rounded to whole kilocalories, more exactly below ten.
func (e Kilocalories) String() string { return significant(float64(e)) + " kcal" }

// Kilojoules is the same energy in the SI's unit, rounded.
func (e Kilocalories) Kilojoules() string { return significant(float64(e)*KilojoulePerKcal) + " kJ" }

func (d KcalPerKg) String() string { return significant(float64(d)) + " kcal/kg" }

// String is "310 ms", "4.2 s" or "1.5 h".
func (t Seconds) String() string {
	switch {
	case t < 1:
		return significant(float64(t)*1000) + " ms"
	case t < 120:
		return significant(float64(t)) + " s"
	case t < 2*Hour:
		return significant(float64(t)/60) + " min"
	}
	return significant(float64(t/Hour)) + " h"
}

func (t Milliseconds) String() string { return significant(float64(t)) + " ms" }

func (v Microseconds) String() string { return strconv.Itoa(int(v)) + " us" }

// String is "3.6 V", "850 mV".
func (v Millivolts) String() string {
	if math.Abs(float64(v)) < 1000 {
		return significant(float64(v)) + " mV"
	}
	return trimmed(float64(v)/1000, 2) + " V"
}

// String is "180 mA" or, below a tenth, "4.2 uA".
func (i Milliamps) String() string {
	if math.Abs(float64(i)) < 0.1 {
		return significant(float64(i)*1000) + " uA"
	}
	return significant(float64(i)) + " mA"
}

// String is "15 Ah" or, below one, "450 mAh".
func (q MilliampHours) String() string {
	if math.Abs(float64(q)) < 1000 {
		return significant(float64(q)) + " mAh"
	}
	return significant(float64(q)/1000) + " Ah"
}

// significant rounds to whole numbers from a hundred on, below that to three digits.
func significant(x float64) string {
	switch a := math.Abs(x); {
	case a >= 99.95:
		return trimmed(x, 0)
	case a >= 9.995:
		return trimmed(x, 1)
	case a >= 0.1:
		return trimmed(x, 2)
	case a == 0:
		return "0"
	}
	return strconv.FormatFloat(x, 'g', 2, 64)
}

// trimmed has at most so many decimals and no zeros at the end.
func trimmed(x float64, decimals int) string {
	s := strconv.FormatFloat(x, 'f', decimals, 64)
	if decimals > 0 {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if s == "-0" {
		return "0"
	}
	return s
}

// Round is the nearest multiple of step.
func (m Milligrams) Round(step Milligrams) Milligrams {
	return Milligrams(math.Round(float64(m)/float64(step))) * step
}
