package units

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The pound and the ounce are exact by the international yard and pound agreement of 1959; 1 kcal = 4.184 kJ.
func TestParseMass(t *testing.T) {
	for text, want := range map[string]Milligrams{
		"18 g": 18_000, "6.2g": 6_200, "4.2 kg": 4_200_000, "1 lb": 453_592, "1oz": 28_350, "100 lb": 45_359_237,
		"9 lb 4 oz": 4_195_729, "9lb4oz": 4_195_729, "500 mg": 500, " 5 g ": 5_000,
	} {
		got, err := ParseMass(text)
		require.NoError(t, err, text)
		assert.Equal(t, want, got, text)
	}
	_, pounds, err := ParseMassAs("9 lb 4 oz")
	require.NoError(t, err)
	assert.True(t, pounds)
	_, pounds, err = ParseMassAs("4 kg")
	require.NoError(t, err)
	assert.False(t, pounds)
}

func TestParseErrors(t *testing.T) {
	mass := func(s string) error { _, err := ParseMass(s); return err }
	density := func(s string) error { _, err := ParseDensity(s); return err }
	for _, c := range []struct {
		err  error
		want string
	}{
		{mass("4.2"), `"4.2" has no unit (g, kg, mg, oz or lb): write for example "4.2 kg"`},
		{mass("4,2 kg"), `"4,2 kg" is not a number with a unit (g, kg, mg, oz or lb): write the decimal point as a point: "4.2 kg"`},
		{mass("4.2 kilos"), `"kilos" is not a unit for this (g, kg, mg, oz or lb): did you mean "4.2 kg"?`},
		{mass("9 lbs"), `"lbs" is not a unit for this (g, kg, mg, oz or lb): did you mean "9 lb"?`},
		{mass("4 kg 200 g"), `unexpected "200 g" after the unit: write one number with one unit, such as "4.2 kg"`},
		{mass("9 lb 4 kg"), `unexpected "4 kg" after the pounds: write for example "9 lb 4 oz"`},
		{mass("9 lb -4 oz"), `unexpected "-4 oz" after the pounds: write for example "9 lb 4 oz"`},
		{mass("0 g"), `"0 g" is outside 1 mg to 1000 kg`},
		{mass("-3 g"), `"-3 g" is outside 1 mg to 1000 kg`},
		{mass("heavy"), `"heavy" is not a number with a unit (g, kg, mg, oz or lb): write for example "4.2 kg"`},
		{mass("1234567890123 g"), `"1234567890123 g" is not a number with a unit (g, kg, mg, oz or lb): write for example "4.2 kg"`},
		{density("3800"), `"3800" is not an energy in a mass of food: write for example "3800 kcal/kg" or "380 kcal/100 g"`},
		{density("398 kcal/cup"), `"398 kcal/cup": a cup is not a weight of food: labels give the energy in a kilogram as well: "3800 kcal/kg"`},
		{density("3800 cal/kg"), `"cal" is not a unit for this (kcal, kJ or MJ): did you mean "3800 kcal"?`},
		{density("3800 kcal/0 g"), `"3800 kcal/0 g" is not an energy of food: write for example "3800 kcal/kg" or "380 kcal/100 g"`},
	} {
		assert.EqualError(t, c.err, c.want)
	}
	_, err := ParsePulse("1.5 us")
	assert.EqualError(t, err, `"1.5 us" is not a whole number of us`)
	_, err = ParseCharge("15 ah")
	assert.EqualError(t, err, `"ah" is not a unit for this (mAh or Ah): did you mean "15 Ah"?`)
}

// Labels of one food: arithmetic on the definition of the units.
func TestParseDensity(t *testing.T) {
	for text, want := range map[string]float64{
		"3800 kcal/kg": 3800, "380 kcal/100g": 3800, "380 kcal/100 g": 3800, "3.8 kcal/g": 3800, "15.9 MJ/kg": 15900 / 4.184,
		"1590 kJ/100 g": 15900 / 4.184, "100 kcal/oz": 100 / 0.028349523125, "3800 kcal per kg": 3800,
	} {
		got, err := ParseDensity(text)
		require.NoError(t, err, text)
		assert.InDelta(t, want, float64(got), 1e-9*want, text)
	}
	assert.Equal(t, Milligrams(50_000), KcalPerKg(3800).Of(190))
	assert.InDelta(t, 190, float64(KcalPerKg(3800).In(50_000)), 1e-9)
}

func TestStrings(t *testing.T) {
	for want, got := range map[string]fmt.Stringer{
		"18 g": Milligrams(18_000), "6.2 g": Milligrams(6_200), "4.25 kg": Milligrams(4_250_000), "1.000001 kg": Milligrams(1_000_001),
		"-0.5 g": Milligrams(-500), "190 kcal": Kilocalories(189.9), "4.2 uA": Milliamps(0.0042), "0.11 mA": Milliamps(0.11),
		"15 Ah": MilliampHours(15_000), "450 mAh": MilliampHours(450), "3.6 V": Millivolts(3600), "310 ms": Milliseconds(310),
		"60 ms": Seconds(0.06), "20.5 min": Seconds(1230), "0 uA": Milliamps(0), "-12 us": Microseconds(-12),
	} {
		assert.Equal(t, want, got.String())
	}
	assert.Equal(t, "9 lb 4 oz", Milligrams(4_195_729).Pounds())
	assert.Equal(t, "10 oz", Milligrams(283_495).Pounds())
	assert.Equal(t, "0.42 oz", Milligrams(12_000).Pounds())
	assert.Equal(t, "1 lb", Milligrams(453_592).Pounds())
	for mg, want := range map[Milligrams][3]string{
		18_000: {"18 g", "18 g", "18.0 g"}, 6_250: {"6.25 g", "6.25 g", "6.2 g"}, 5: {"0.005 g", "0.005 g", "0.0 g"}, 0: {"0 g", "0 g", "0.0 g"},
		1_404_321: {"1404.321 g", "1.404 kg", "1404.3 g"}, 999_999: {"999.999 g", "999.999 g", "999.9 g"},
	} {
		assert.Equal(t, want, [3]string{mg.InGrams(), mg.Short(), mg.Tenths()})
	}
	assert.Equal(t, "795 kJ", Kilocalories(190).Kilojoules())
}

// What is printed can be read again, unchanged.
func TestMassRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := Milligrams(rapid.Int64Range(1, int64(maxMass)).Draw(t, "mg"))
		got, err := ParseMass(m.String())
		require.NoError(t, err)
		assert.Equal(t, m, got)
	})
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"4.2 kg", "9 lb 4 oz", "380 kcal/100 g", "15 Ah", "-12 us", "1/0", "5 /", "9 lb"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if m, err := ParseMass(s); err == nil && (m <= 0 || m > maxMass) {
			t.Errorf("%q gives %d mg", s, m)
		}
		if d, err := ParseDensity(s); err == nil && !(d > 0) {
			t.Errorf("%q gives %v", s, d)
		}
		_, _ = ParseCharge(s)
		_, _ = ParsePulse(s)
		_, _ = ParseSpan(s)
	})
}
