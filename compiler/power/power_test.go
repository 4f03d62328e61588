package power

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"mealtab/compiler/profile"
	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
)

// example is a feeder worked by hand: four meals a day of 5 s at 5 V and 0.2 A, converter 85 %, pack 3.6 V; CPU awake 10 s a
// meal at 10 mA; three alkaline D cells of 15 Ah (makers' figures: 12 to 18 Ah) that lose 3 % a year. No shelf life.
func example(t testing.TB, sleep string) (*Profile, Counts) {
	p, err := Parse("example.toml", fmt.Appendf(nil, `
board = "example"
[pack]
mean = "3.6 V"
capacity = ["12 Ah", "15 Ah", "18 Ah"]
self_discharge = 0.03
shelf_years = [99, 99, 99]
source = "makers' figures"
[boost]
out = "5 V"
efficiency = [0.75, 0.85, 0.90]
source = "common practice"
[[draw]]
name = "sleep"
when = "always"
current = %q
source = "see the cases"
cut = "nothing is left of it"
[[draw]]
name = "servo"
when = "turning"
current = "200 mA"
source = "the example"
[[draw]]
name = "CPU"
when = "awake"
current = "10 mA"
source = "the example"
`, sleep))
	require.NoError(t, err)
	const meals = 4 * 365
	return p, Counts{ClockHz: 8e6, AwakeCycles: meals * 10 * 8e6, Wheel: meals * 5, Servo: meals * 5, Servings: meals}
}

// The terms, by hand: servo 4 × 5 s × 1 W ÷ 0.85 = 23.53 J a day = 2.386 Wh a year = 0.663 Ah at 3.6 V; CPU 4 × 10 s × 10 mA
// × 365 = 0.0406 Ah; self-discharge 3 % of 15 Ah = 0.45 Ah; together 1.15 Ah without sleep.
func TestTermsOfTheExample(t *testing.T) {
	p, c := example(t, "6 mA")
	b := p.Budget(c, 0.85)
	terms := map[string]float64{}
	for _, i := range b.Items {
		terms[i.Name] = float64(i.Charge) / 1000
	}
	assert.InEpsilon(t, 0.663, terms["servo"], 0.02)
	assert.InEpsilon(t, 0.0406, terms["CPU"], 0.02)
	assert.InEpsilon(t, 1.15, terms["servo"]+terms["CPU"]+0.03*15, 0.02)
	assert.Equal(t, "sleep", b.Items[0].Name, "the largest first")
}

// Life in the sleeping currents that occur, within 2 %, where the figures have as many digits. Sources of the currents:
// 6, 4 and 0.6 mA, forum measurements of a common clock module as sold, without its LED, and without LED and charger; 0.133 mA:
// DS3231 data sheet p. 2, 110 uA on VCC, and 20 uA for the brown-out detector; 5 uA: chip on its coin cell, MCU in
// power-down (ATmega48A-328P data sheet, table 29-9: 4.2 uA). Years by Q ÷ (8.76 × I + s × Q + loads), by hand.
func TestLifeOfTheExample(t *testing.T) {
	for _, v := range []struct {
		sleep     string
		ah, years float64
	}{
		{"6 mA", 53.7, 15 / 53.7}, {"4 mA", 36.2, 15 / 36.2}, {"0.6 mA", 6.41, 15 / 6.41}, {"0.133 mA", 2.32, 15 / 2.32},
		{"0.005 mA", 1.2, 15 / 1.2}, {"6.1 mA", 54.6, 15 / 54.6},
	} {
		p, c := example(t, v.sleep)
		l := p.Life(c, Case{15_000, 0.85, 99})
		assert.InEpsilon(t, v.ah, float64(l.Budget.Sum)/1000+0.45, 0.02, v.sleep)
		assert.InEpsilon(t, v.years, l.Years, 0.02, v.sleep)
	}
	p, c := example(t, "6 mA")
	assert.InDelta(t, 102, p.Life(c, p.cases()[1]).Days(), 2, "an LED and a charger empty the cells in 102 days")
	assert.InEpsilon(t, 1.58, float64(p.SleepFor(c, 1)), 0.02, "one year needs 1.58 mA or less")
}

func TestRange(t *testing.T) {
	p, c := example(t, "0.6 mA")
	r := p.Range(c)
	assert.Less(t, r[0].Years, r[1].Years)
	assert.Less(t, r[1].Years, r[2].Years)
	p.Pack.Shelf = [3]float64{1, 2, 2}
	r = p.Range(c)
	assert.Equal(t, 1.0, r[0].Years)
	assert.True(t, r[0].Limited && r[2].Limited)
	gains, together := p.Gains(c)
	require.Len(t, gains, 1)
	assert.Equal(t, 0.0, gains[0].Days, "what lives to its shelf life gains nothing")
	assert.True(t, together.Limited)
}

func cells(t testing.TB) *profile.Profile {
	t.Helper()
	p, ok := profile.Named("m328-cells")
	require.True(t, ok)
	return p
}

// The embedded profile: cutting LED and charger is what the measurements say, 6 to 0.6 mA.
func TestCellsProfile(t *testing.T) {
	p, err := Of(cells(t))
	require.NoError(t, err)
	var always units.Milliamps
	for _, d := range p.Draws {
		if d.When == Always && d.Part != "bod" {
			always += d.Current
		}
	}
	assert.InDelta(t, 6, float64(always), 0.01, "forum measurement: 6 mA as sold")
	bare, err := p.Without([]string{"led", "charger"})
	require.NoError(t, err)
	c := Counts{ClockHz: 8e6, Servings: 1460, Wheel: 7300, Servo: 7300, AwakeCycles: 14600 * 8e6}
	assert.InEpsilon(t, 102, p.Range(c)[1].Days(), 0.03, "about a hundred days with the module as it is sold")
	assert.InEpsilon(t, 2.3, bare.Range(c)[1].Years, 0.03, "2.3 years without LED and charger")
	gains, together := p.Gains(c)
	assert.Equal(t, "charger", gains[0].Draw.Part)
	assert.True(t, together.Limited)
	_, err = p.Without([]string{"usb"})
	assert.EqualError(t, err, `no part is called "usb"; there are led, charger, module, clock, bod`)
	wall, _ := profile.Named("m328-mains")
	_, err = Of(wall)
	assert.EqualError(t, err, `the currents of board "m328-mains" are not known: it says nothing of [pack], [boost] and [[draw]], as m328-cells does; or give a file of currents`)
}

func TestParseErrors(t *testing.T) {
	src := cells(t).CurrentsSource()
	for _, c := range []struct{ from, to, want string }{
		{`current = "2 mA"`, `current = "2"`, `p.toml: draw "clock module: power LED": current: "2" has no unit (mA, A or uA): write for example "4.2 uA"`},
		{`when    = "always"`, `when    = "sometimes"`, `p.toml: draw "clock module: power LED": when "sometimes" does not exist`},
		{`source  = "forum`, `sauce   = "forum`, "p.toml:25:1: draw.sauce is not a key of a file of currents"},
		{`"12 Ah", `, ``, "p.toml: pack.capacity, pack.shelf_years and boost.efficiency have three values each: poor, usual, good"},
		{`0.75, 0.85`, `0.75, 85`, "p.toml: boost.efficiency: 85 is outside 0 to 1"},
		{`left    = "3 uA"`, `left    = "3 mA"`, `p.toml: draw "clock module: pull-ups and memory": 0.49 mA, and 3 mA after the cut, cannot be`},
		{`self_discharge = 0.03`, `self_discharge = 3`, "p.toml: pack.self_discharge: 3 is outside 0 to 1 a year"},
		{`out        = "5 V"`, `out        = "0 V"`, "p.toml: voltages are above zero"},
		{`cells          = 3`, `cells          = three`, "p.toml:7:18: "},
	} {
		require.Contains(t, string(src), c.from)
		_, err := Parse("p.toml", []byte(strings.Replace(string(src), c.from, c.to, 1)))
		assert.ErrorContains(t, err, c.want)
	}
}

// More of anything never lengthens the life, and the items add up.
func TestMonotone(t *testing.T) {
	p, err := Of(cells(t))
	require.NoError(t, err)
	rapid.Check(t, func(t *rapid.T) {
		draw := func(label string, most float64) float64 { return rapid.Float64Range(0, most).Draw(t, label) }
		c := Counts{ClockHz: 8e6, AwakeCycles: draw("cycles", 1e12), Idle: units.Seconds(draw("idle", 1e5)), Wheel: units.Seconds(draw("wheel", 1e5)), EEPROMWrites: draw("writes", 1e6)}
		c.Servo = c.Wheel + units.Seconds(draw("standing", 1e4))
		more := c
		more.Wheel, more.Servo = more.Wheel+1000, more.Servo+1000
		more.AwakeCycles *= 1.5
		a, b := p.Range(c), p.Range(more)
		for i := range a {
			assert.GreaterOrEqual(t, a[i].Years, b[i].Years)
			var sum units.MilliampHours
			for _, item := range a[i].Budget.Items {
				assert.GreaterOrEqual(t, float64(item.Charge), 0.0)
				sum += item.Charge
			}
			assert.InEpsilon(t, float64(a[i].Budget.Sum), float64(sum), 1e-12)
		}
		one, _ := p.Without([]string{"led"})
		assert.GreaterOrEqual(t, one.Range(c)[1].Years, a[1].Years)
	})
}

// Two meals of three pockets a day, hours apart, at 310 ms: 365 × 6 × 0.31 s = 678.9 s of turning, and 365 × 2 × 0.16 s more supplied.
func TestComputed(t *testing.T) {
	tab := &table.Table{Through: table.MaxDay, Start: 9831, Wheel: table.Wheel{PocketUnits: 1},
		Meals: []table.Meal{{Portion: 3, Parts: []table.Part{{Times: table.Times{List: []uint16{420, 1110}}}}}}}
	from := table.Minute((time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC).Unix() - table.Epoch) / 60)
	c := Computed(tab, Board{ClockHz: 8e6, TurnMillis: 310}, replay.AllPresets, from)
	assert.Equal(t, 730.0, c.Servings)
	assert.InDelta(t, 678.9, float64(c.Wheel), 1e-6)
	assert.InDelta(t, 678.9+116.8, float64(c.Servo), 1e-6)
	assert.InDelta(t, 365*86400/8.192+365+730+(678.9+73)/0.02+730*86, c.Wakes, 1e-3, "each serving is preceded by a timing of the oscillator")
	last := Computed(tab, Board{ClockHz: 8e6, TurnMillis: 310}, replay.AllPresets, (table.Minute(table.MaxDay)-30)*table.MinutesPerDay)
	assert.InDelta(t, 730, last.Servings, 1e-6, "31 days stand for a year")
	assert.False(t, c.Counted)
	assert.False(t, math.IsNaN(c.AwakeCycles))
}

func TestMoreDays(t *testing.T) {
	for days, want := range map[float64]string{0.6: "+1 day", 173.4: "+173 days", 729: "+729 days", 730: "+2 years", 760: "+2 years 1 month",
		1643: "+4 years 6 months", 1094.9: "+3 years"} {
		assert.Equal(t, want, moreDays(days))
	}
}
