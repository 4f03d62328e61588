package prove_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/plan"
	"mealtab/compiler/prove"
	"mealtab/compiler/reader"
	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

// household is a plan in which every section of a table means something.
func household(t *testing.T) (*plan.Plan, *zone.Zone) {
	t.Helper()
	src := `
plan = "Juniper and Moss" # invented
zone = "Europe/Lisbon"
late = "90 min"
[wheel]
pocket = "6.2 g"
turn = "310 ms"
[button]
portion = "6.2 g"
per-hour = 3
[[meal]]
name = "breakfast"
portion = "18 g"
dtstart = 2026-12-01T07:00:00
rrule = "FREQ=WEEKLY;BYDAY=MO,TU,WE,TH,FR"
presets = ["everyday"]
[[meal]]
name = "late breakfast"
portion = "18 g"
dtstart = 2026-12-05T09:10:00
rrule = "FREQ=WEEKLY;INTERVAL=2;BYDAY=SA,SU"
[[meal]]
name = "supper"
portion = "24 g"
dtstart = 2026-12-03T18:30:00
rrule = "FREQ=DAILY;UNTIL=20401001T000000"
exdate = [2026-12-24T18:30:00]
rdate = [2026-12-25T10:00:00]
presets = ["everyday", "away"]
[[meal]]
name = "treat"
portion = "6 g"
dtstart = 2027-01-30T12:00:00
rrule = "FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-2;COUNT=200"
[[meal]]
name = "night"
portion = "6 g"
dtstart = 2027-01-01T01:30:00
rrule = "FREQ=HOURLY;INTERVAL=5;BYMONTH=3,10"
`
	p, ds := reader.Parse("household.toml", []byte(src))
	require.False(t, ds.HasErrors(), "%v", ds)
	z, err := zone.Default().Load(p.Zone)
	require.NoError(t, err)
	return p, z
}

// harmless reports whether a table does all that another does: the same instants, meals, amounts.
func harmless(a, b *table.Table) bool {
	if a.Late != b.Late || a.Button != b.Button || a.Wheel != b.Wheel || a.Presets != b.Presets || len(a.Meals) != len(b.Meals) {
		return false
	}
	for i := range a.Meals {
		if a.Meals[i].Portion != b.Meals[i].Portion || a.Meals[i].Presets != b.Meals[i].Presets {
			return false
		}
	}
	ca := replay.New(a, replay.Options{Preset: replay.AllPresets})
	cb := replay.New(b, replay.Options{Preset: replay.AllPresets})
	for {
		sa, oka := ca.Next()
		sb, okb := cb.Next()
		if oka != okb || sa.At != sb.At || len(sa.Meals) != len(sb.Meals) {
			return false
		}
		for i := range sa.Meals {
			if sa.Meals[i].Meal != sb.Meals[i].Meal {
				return false
			}
		}
		if !oka {
			return true
		}
	}
}

// reframe gives changed bytes their right CRC, so that only the proof can notice.
func reframe(b []byte) []byte { return table.WithSequence(b, b[3]) }

// Every byte of a table is corrupted in turn, with the CRC made to match. The proof must fail wherever the table
// would do anything else than before.
func TestProofNoticesEveryCorruptByte(t *testing.T) {
	p, z := household(t)
	const from = 9497
	b, res, err := compile(p, z, from, table.MaxDay)
	require.NoError(t, err)
	in := prove.Input{Bytes: b, Plan: p, Zone: z, MealOf: res.MealOf, From: from, Through: table.MaxDay}
	_, err = prove.Prove(in)
	require.NoError(t, err)

	noticed, same := 0, map[int]bool{}
	for i := range len(b) - 2 {
		for _, flip := range []byte{0x01, 0x02, 0x08, 0x10, 0x40, 0x80} {
			bad := append([]byte(nil), b...)
			bad[i] ^= flip
			in.Bytes = reframe(bad)
			if _, err := prove.Prove(in); err != nil {
				noticed++
				continue
			}
			got, err := table.Decode(in.Bytes)
			require.NoError(t, err)
			require.True(t, harmless(res.Table, got), "byte %d, flip %02X: not noticed", i, flip)
			same[i] = true
		}
	}
	t.Logf("%d bytes: %d corruptions noticed; without effect at %v", len(b), noticed, same)
	assert.Contains(t, same, 3, "the sequence number is the uploader's")
	assert.Less(t, len(same), 12)
}

// mutations are mistakes that a lowering could make.
var mutations = map[string]func(*table.Table){
	"times a minute late":    func(t *table.Table) { t.Meals[0].Parts[0].Times.List[0]++ },
	"a part lost":            func(t *table.Table) { t.Meals[2].Parts = t.Meals[2].Parts[:1] },
	"a meal's portion":       func(t *table.Table) { t.Meals[0].Portion++ },
	"presets of a meal":      func(t *table.Table) { t.Meals[0].Presets ^= 3 },
	"standard offset":        func(t *table.Table) { t.Zone.Standard++ },
	"no daylight saving":     func(t *table.Table) { t.Zone.DST = nil },
	"daylight saving a week": func(t *table.Table) { t.Zone.DST.Start.Week = 4 },
	"end of it by an hour":   func(t *table.Table) { t.Zone.DST.End.Minutes -= 60 },
	"start a day late":       func(t *table.Table) { t.Start++ },
	"ends a day early":       func(t *table.Table) { t.Through-- },
	"phase of a cycle":       func(t *table.Table) { eachCycle(t, func(c *table.Cycle) { c.Phase++ }) },
	"period of a cycle":      func(t *table.Table) { eachCycle(t, func(c *table.Cycle) { c.Period++ }) },
	"phase of weeks": eachRule(func(r *table.Rule) bool {
		r.EveryWeeks.Phase = (r.EveryWeeks.Phase + 7) % 14
		return r.EveryWeeks.N > 0
	}),
	"positions":        eachRule(func(r *table.Rule) bool { return r.SetPos != nil && setPosition(r, -1) }),
	"until by a day":   eachRule(func(r *table.Rule) bool { r.Until--; return r.HasUntil }),
	"from by a week":   eachRule(func(r *table.Rule) bool { r.From += 7; return r.From > 7 }),
	"except forgotten": eachRule(func(r *table.Rule) bool { n := len(r.Except); r.Except = nil; return n > 0 }),
	"dates by a day":   eachRule(func(r *table.Rule) bool { return len(r.Dates) > 0 && nextDay(r) }),
	"weekdays":         eachRule(func(r *table.Rule) bool { r.Weekdays ^= 0x11; return r.Weekdays != 0 }),
	"months":           eachRule(func(r *table.Rule) bool { r.Months <<= 1; return r.Months != 0 }),
}

func eachCycle(t *table.Table, change func(*table.Cycle)) {
	for _, m := range t.Meals {
		for _, p := range m.Parts {
			if p.Times.Cycle != nil {
				change(p.Times.Cycle)
			}
		}
	}
}

// eachRule changes the first rule for which change reports that it mattered.
func eachRule(change func(*table.Rule) bool) func(*table.Table) {
	return func(t *table.Table) {
		for i := range t.Rules {
			r := t.Rules[i]
			if change(&r) {
				t.Rules[i] = r
				return
			}
		}
	}
}

func setPosition(r *table.Rule, p int) bool {
	s := *r.SetPos
	s.Positions = []int{p}
	r.SetPos = &s
	return true
}

func nextDay(r *table.Rule) bool {
	r.Dates = []table.Day{r.Dates[0] + 1}
	return true
}

func TestProofNoticesMistakesOfTheLowering(t *testing.T) {
	p, z := household(t)
	const from = 9497
	b, res, err := compile(p, z, from, table.MaxDay)
	require.NoError(t, err)
	for name, mutate := range mutations {
		bad, err := table.Decode(b)
		require.NoError(t, err)
		mutate(bad)
		require.NotEqual(t, res.Table, bad, "%s: the mutation changes nothing", name)
		encoded, err := table.Encode(bad)
		require.NoError(t, err, name)
		_, err = prove.Prove(prove.Input{Bytes: encoded, Plan: p, Zone: z, MealOf: res.MealOf, From: from, Through: table.MaxDay})
		assert.Error(t, err, name)
	}
}

// Random plans with random damage: whatever gets past the proof must do just what the undamaged table does.
func TestProofOfDamagedRandomTables(t *testing.T) {
	z, err := zone.Default().Load("America/New_York")
	require.NoError(t, err)
	noticed, same := 0, 0
	for seed := range uint64(150) {
		r := rand.New(rand.NewPCG(seed, 22))
		p := randomPlan(r, z)
		from := table.Day(9000)
		through := span(p, 11700)
		b, res, err := compile(p, z, from, through)
		if err != nil {
			continue
		}
		bad := append([]byte(nil), b...)
		bad[4+r.IntN(len(b)-6)] ^= 1 << r.IntN(8)
		bad = reframe(bad)
		if _, err := prove.Prove(prove.Input{Bytes: bad, Plan: p, Zone: z, MealOf: res.MealOf, From: from, Through: through}); err != nil {
			noticed++
			continue
		}
		got, err := table.Decode(bad)
		require.NoError(t, err)
		require.True(t, harmless(res.Table, got), "seed %d: % X became % X", seed, b, bad)
		same++
	}
	t.Logf("%d noticed, %d without effect", noticed, same)
	require.Greater(t, noticed, 2*same)
}
