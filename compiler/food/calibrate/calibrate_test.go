package calibrate

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"mealtab/compiler/units"
)

// Critical values of Student's t: NIST/SEMATECH e-Handbook of Statistical Methods, table 1.3.6.7.2.
func TestStudentTable(t *testing.T) {
	for _, v := range []struct {
		df                              int
		p90, p95, p975, p99, p995, p999 float64
	}{
		{1, 3.078, 6.314, 12.706, 31.821, 63.657, 318.309},
		{2, 1.886, 2.920, 4.303, 6.965, 9.925, 22.327},
		{3, 1.638, 2.353, 3.182, 4.541, 5.841, 10.215},
		{4, 1.533, 2.132, 2.776, 3.747, 4.604, 7.173},
		{5, 1.476, 2.015, 2.571, 3.365, 4.032, 5.893},
		{9, 1.383, 1.833, 2.262, 2.821, 3.250, 4.297},
		{10, 1.372, 1.812, 2.228, 2.764, 3.169, 4.144},
		{30, 1.310, 1.697, 2.042, 2.457, 2.750, 3.385},
		{100, 1.290, 1.660, 1.984, 2.364, 2.626, 3.174},
	} {
		for p, want := range map[float64]float64{.9: v.p90, .95: v.p95, .975: v.p975, .99: v.p99, .995: v.p995, .999: v.p999} {
			assert.InDelta(t, want, studentQuantile(p, v.df), 0.0006*max(1, want/100), "p %v, %d degrees", p, v.df)
		}
	}
	assert.InDelta(t, 1.960, studentQuantile(.975, 100_000), 0.0005, "the normal distribution's")
}

func single(grams ...float64) (list []Weighing) {
	for _, g := range grams {
		list = append(list, Weighing{Pockets: 1, Mass: units.FromGrams(g), Step: 10})
	}
	return list
}

// The example of NIST's handbook 1.3.5.17.1 (Grubbs' test): the value 245.57 has G = 2.4687 against a critical 2.032, upper
// one-sided at 5 %. The test here is two-sided.
func TestGrubbsExample(t *testing.T) {
	list := single(199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57)
	at, g, critical := grubbs(list, []int{0, 1, 2, 3, 4, 5, 6, 7})
	assert.Equal(t, 7, at)
	assert.InDelta(t, 2.4687, g, 0.0001)
	assert.InDelta(t, 2.032, grubbsCritical(8, 0.05), 0.0005)
	assert.Equal(t, grubbsCritical(8, 0.025), critical)
	assert.Equal(t, []int{7}, Outliers(list))
}

// A kitchen scale that shows whole grams reads one of two neighbours whenever the true mass lies between them. That is no
// fault of a weighing, however many of the others agree (where all others are equal, Grubbs' G is (n-1)/√n, above every
// critical value). Blocked wheels and forgotten tares are still found.
func TestScaleStepIsNoOutlier(t *testing.T) {
	for text, want := range map[string][]int{
		"62 61 62 g":                            nil,
		"62 61 62 62 62 g":                      nil,
		"61 62 62 62 62 62 62 62 62 62 62 62 g": nil,
		"62 62 62 g":                            nil,
		"62 60 62 g":                            nil, // two steps: too few to say
		"62.1 62.0 62.1 62.1 62.1 g":            nil,
		"62 62.1 62 62 62 g":                    nil, // 62 is 62.0 on such a scale
		"62 64 62 62 62 62 62 62 g":             nil, // it counts by 2 g
		"60 65 60 60 60 60 60 60 g":             nil, // by 5 g
		"2.2 oz, 2.1 oz, 2.2 oz, 2.2 oz":        nil,
		"62 61 98 63 62 g":                      {2},
		"62 62 98 62 62 g":                      {2},
		"62 62 62 62 55 62 62 62 g":             {4},
		"62.1 62.1 62.1 62.1 62.1 61.0 62.1 g":  {5},
		"62 98 62 g":                            {1},
	} {
		list, err := ParseList(10, text)
		require.NoError(t, err)
		assert.Equal(t, want, Outliers(list), text)
	}
}

// Weighings of a steady mass read off a scale of whole grams: a false alarm is rare. At 5 % it would be up to one in twenty;
// without the step it was nearly every second list. Eight standard errors above 1 %.
func TestRoundedWeighingsRaiseNoAlarm(t *testing.T) {
	alarms, runs := 0, 2000
	random := normal(3)
	for range runs {
		var list []Weighing
		for range 5 {
			list = append(list, Weighing{Pockets: 10, Mass: units.FromGrams(math.Round(62 + 0.4*random())), Step: units.Gram})
		}
		alarms += min(1, len(Outliers(list)))
	}
	assert.Less(t, float64(alarms)/float64(runs), 0.03)
}

// Ten values whose interval stands in closed form: mean 6.2, standard deviation 0.1, t(0.975; 9) = 2.262 (NIST).
func TestInterval(t *testing.T) {
	d := 0.1 * math.Sqrt(0.9)
	list := single(6.2-d, 6.2+d, 6.2-d, 6.2+d, 6.2-d, 6.2+d, 6.2-d, 6.2+d, 6.2-d, 6.2+d)
	r := Pockets(list)
	assert.InDelta(t, 6200, r.Mean, 0.1)
	assert.InDelta(t, 100, r.Spread, 0.2, "masses are rounded to the milligram")
	assert.InDelta(t, 2.262*100/math.Sqrt(10), r.Half, 0.2)
	assert.Equal(t, 0, r.More(Goal))
	assert.Equal(t, 6200*units.Milligrams(1), r.Pocket())
	assert.Empty(t, Outliers(list))
	// ±0.5 %: t·s/√n ≤ 31 mg. With n = 42: 2.0195 × 100/√42 = 31.2; with 43: 2.0181 × 100/√43 = 30.8 (t: NIST).
	assert.Equal(t, 43-10, r.More(0.005))
}

// Weighings of many pockets say the same about one as weighing them singly, on average.
func TestManyPocketsAtOnce(t *testing.T) {
	list := []Weighing{{Pockets: 10, Mass: 62_000}, {Pockets: 10, Mass: 63_000}, {Pockets: 20, Mass: 123_000}}
	r := Pockets(list)
	assert.InDelta(t, 6200, r.Mean, 1e-9)
	assert.InDelta(t, math.Sqrt((10*0+10*100*100+20*50*50)/2.0), r.Spread, 1e-9)
	one := Pockets(list[:1])
	assert.True(t, math.IsInf(one.Half, 1))
	assert.Equal(t, 2, one.More(Goal))
}

func TestScaleStep(t *testing.T) {
	same := []Weighing{{Pockets: 10, Mass: 62_000, Step: 1000}, {Pockets: 10, Mass: 62_000, Step: 1000}, {Pockets: 10, Mass: 62_000, Step: 1000}}
	r := Pockets(same)
	assert.True(t, r.Rounded)
	assert.InDelta(t, 50, r.Half, 1e-9, "half a gram over ten pockets")
	assert.Equal(t, 0, r.Coarse())
	r = Pockets([]Weighing{{Pockets: 1, Mass: 6_000, Step: 1000}, {Pockets: 1, Mass: 7_000, Step: 1000}})
	assert.Equal(t, 8, r.Coarse(), "0.5 g is 1 %% of 50 g: eight pockets of 6.5 g")
}

// How often the interval holds the true mean: 95 % by definition. 2000 draws of a normal distribution; the bounds are four
// standard errors away.
func TestCoverage(t *testing.T) {
	hits, runs := 0, 2000
	random := normal(1)
	for range runs {
		var list []Weighing
		for range 6 {
			list = append(list, Weighing{Pockets: 5, Mass: units.Milligrams(math.Round(5*6200 + math.Sqrt(5)*400*random()))})
		}
		if r := Pockets(list); math.Abs(r.Mean-6200) <= r.Half {
			hits++
		}
	}
	assert.InDelta(t, 0.95, float64(hits)/float64(runs), 0.02)
}

// normal is a generator of normal deviates from a small congruential one (Knuth's MMIX constants), the same in every run.
func normal(seed uint64) func() float64 {
	uniform := func() float64 {
		seed = seed*6364136223846793005 + 1442695040888963407
		return (float64(seed>>11) + 0.5) / (1 << 53)
	}
	return func() float64 { return math.Sqrt(-2*math.Log(uniform())) * math.Cos(2*math.Pi*uniform()) }
}

// The order of weighings says nothing, and grams and ounces scale alike.
func TestInvariance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		list := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Weighing {
			n := rapid.IntRange(1, 30).Draw(t, "pockets")
			return Weighing{Pockets: n, Mass: units.Milligrams(n * rapid.IntRange(5000, 7000).Draw(t, "mg"))}
		}), 2, 12).Draw(t, "weighings")
		r := Pockets(list)
		reversed := make([]Weighing, len(list))
		for i, w := range list {
			reversed[len(list)-1-i] = Weighing{Pockets: w.Pockets, Mass: 3 * w.Mass}
		}
		r3 := Pockets(reversed)
		assert.InDelta(t, 3*r.Mean, r3.Mean, 1e-6)
		assert.InDelta(t, 3*r.Half, r3.Half, 1e-6*max(1, r.Half))
		assert.Equal(t, len(Outliers(list)), len(Outliers(reversed)))
		if more := r.More(Goal); more == 0 && !r.Rounded {
			assert.LessOrEqual(t, r.Relative(), Goal)
		}
	})
}

func TestTurnAndTrim(t *testing.T) {
	turn, ok := Turn([]Weighing{{Pockets: 10, Time: 3100}, {Pockets: 10}, {Pockets: 20, Time: 6260}})
	require.True(t, ok)
	assert.Equal(t, units.Milliseconds(312), turn)
	_, ok = Turn(single(1, 2))
	assert.False(t, ok)
	assert.InDelta(t, 310*60/62.0, float64(TurnByCount(310, 60, 62)), 1e-9)
	assert.Equal(t, units.Microseconds(-6), Trim(-18, 6))
	assert.Equal(t, units.Microseconds(-6), Trim(6, -18))
	// A pocket in 15.5 s instead of 0.31 s is 2 % of full speed: 4 of 200 us.
	assert.Equal(t, units.Microseconds(-4), TrimByCreep(0, 310, 15_500, true))
	assert.Equal(t, units.Microseconds(6), TrimByCreep(2, 310, 15_500, false))
	assert.Equal(t, units.Microseconds(-1), TrimByCreep(0, 310, 600_000, true))
}
