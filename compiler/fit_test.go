package compiler

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/profile"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

func compileText(t *testing.T, text string) (*Output, error) {
	t.Helper()
	p := benchPlan(t, []byte(text))
	z, err := zone.Embedded().Load(p.Zone)
	require.NoError(t, err)
	b, err := profile.Load(p.Board)
	require.NoError(t, err)
	return Compile(p, z, Options{Board: b, From: benchFrom})
}

func manyDates(n, step int) string {
	var list []string
	for i := range n {
		d := (table.Day(9900) + table.Day(i*step+i*i%5)).Date()
		list = append(list, d.Format("2006-01-02T15:04:05"))
	}
	return strings.Join(list, ", ")
}

// A plan that is too big is refused with what each meal costs, the dearest first.
func TestTooBigIsRefusedWithCosts(t *testing.T) {
	_, err := compileText(t, fmt.Sprintf(`
plan = "too big"
zone = "Europe/Lisbon"
board = "m168-mains"
[[meal]]
name = "breakfast"
portion = "1 pocket"
dtstart = 2026-12-01T07:00:00
[[meal]]
name = "visits"
portion = "1 pocket"
dtstart = 2026-12-01T12:00:00
rrule = "FREQ=YEARLY"
rdate = [%s]
`, manyDates(180, 40)))
	var fit *FitError
	require.ErrorAs(t, err, &fit)
	assert.Equal(t, 191, fit.Have)
	assert.Greater(t, fit.Need, fit.Have)
	require.Len(t, fit.Costs, 2)
	assert.Equal(t, "visits", fit.Costs[0].Name)
	assert.Equal(t, "180 RDATE", fit.Costs[0].Why)
	assert.Equal(t, 3, fit.Costs[1].Bytes, "a daily meal is head, portion, time")
	assert.Contains(t, err.Error(), `most would be saved at "visits"`)
	assert.Equal(t, []string{"RDATEs that follow a pattern: write them as an rrule; those at one time of day share their bytes",
		"a board with more room: m328-cells or m328-mains, 415 bytes"}, fit.Advice)
}

// A plan whose size no table can frame has no costs, though without one of its meals it would have.
func TestTooLongForAnyTable(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2)) // dates without a pattern
	text := "zone = \"Europe/Lisbon\"\n"
	for meal := range 2 {
		var list []string
		for day := range 340 {
			for hour := range 24 {
				if r.IntN(3) == 0 {
					list = append(list, fmt.Sprintf("%sT%02d:%02d:00", table.Day(benchFrom+13+day).Date().Format("2006-01-02"), hour, 15*meal))
				}
			}
		}
		text += fmt.Sprintf("[[meal]]\nname = \"visits %d\"\nportion = \"1 pocket\"\nrdate = [%s]\n", meal, strings.Join(list, ", "))
	}
	_, err := compileText(t, text)
	assert.EqualError(t, err, "the plan takes more than the 4095 bytes that any table can hold")
}

// Each piece of advice is taken: the same servings, or nearly the same, written as it says, take fewer bytes.
func TestAdviceHelps(t *testing.T) {
	list := func(n int, item func(i int) string) string {
		var items []string
		for i := range n {
			items = append(items, item(i))
		}
		return strings.Join(items, ", ")
	}
	day := func(i int) string { return table.Day(9900 + 3*i).Date().Format("2006-01-02") }
	meal := func(name, lines string) string {
		return fmt.Sprintf("[[meal]]\nname = %q\nportion = \"1 pocket\"\n%s\n", name, lines)
	}
	apart, together := "", "at = ["+list(24, func(i int) string { return fmt.Sprintf("\"%02d:15\"", i) })+"]"
	for i := range 24 {
		apart += meal(fmt.Sprint("at ", i), fmt.Sprintf("at = [\"%02d:15\"]", i))
	}
	for _, c := range []struct{ advice, dear, cheap string }{
		{"those at one time of day share their bytes",
			meal("visits", "rdate = ["+list(60, func(i int) string { return fmt.Sprintf("%sT%02d:30:00", day(i), i%24) })+"]"),
			meal("visits", "rdate = ["+list(60, func(i int) string { return day(i) + "T07:30:00" })+"]")},
		{"write them as an rrule",
			meal("visits", "rdate = ["+list(60, func(i int) string { return day(i) + "T07:30:00" })+"]"),
			meal("visits", "dtstart = "+day(0)+"T07:30:00\nrrule = \"FREQ=DAILY;INTERVAL=3;COUNT=60\"")},
		{"write a rule that has no such days",
			meal("pellets", "dtstart = "+day(0)+"T07:00:00\nrrule = \"FREQ=DAILY;COUNT=180\"\nexdate = ["+list(60, day)+"]"),
			meal("pellets", "dtstart = "+day(0)+"T07:00:00\nrrule = \"FREQ=DAILY;INTERVAL=3;COUNT=60\"")},
		{"a time whole quarter hours after midnight, or after the time before it, takes one byte, any other two",
			meal("crumbs", "at = ["+list(24, func(i int) string { return fmt.Sprintf("\"%02d:%02d\"", i, 7*i%60) })+"]"),
			meal("crumbs", "at = ["+list(24, func(i int) string { return fmt.Sprintf("\"%02d:%02d\"", i, 7*i%60/15*15) })+"]")},
		{"24 meals have the same portion on the same days: make them one", apart, meal("pellets", together)},
	} {
		dear, advice := written(t, c.dear)
		cheap, _ := written(t, c.cheap)
		assert.Less(t, cheap, dear, c.advice)
		assert.Contains(t, strings.Join(advice, "\n"), c.advice)
	}
}

// written is the size of a plan's table, and the advice there is about it.
func written(t *testing.T, meals string) (size int, advice []string) {
	t.Helper()
	p := benchPlan(t, []byte("zone = \"Europe/Lisbon\"\n"+meals))
	z, err := zone.Embedded().Load(p.Zone)
	require.NoError(t, err)
	b, err := profile.Load("m328-mains")
	require.NoError(t, err)
	ok, size := (&job{p: p, z: z, o: Options{Board: b, From: benchFrom}}).without(-1)
	require.True(t, ok)
	return size, thrift(p.Meals)
}

// Of many meals the dearest are named; a board that has the room is too.
func TestManyMealsAreCutShort(t *testing.T) {
	var b strings.Builder
	b.WriteString("zone = \"Europe/Lisbon\"\nboard = \"m168-mains\"\n")
	for i := range 40 {
		fmt.Fprintf(&b, "[[meal]]\nname = \"meal %d\"\nportion = \"%d pockets\"\nrrule = \"FREQ=MONTHLY;BYMONTHDAY=%d\"\nat = [\"07:00\"]\n", i, i%5+1, i%28+1)
	}
	_, err := compileText(t, b.String())
	var fit *FitError
	require.ErrorAs(t, err, &fit)
	assert.Len(t, fit.Costs, 40)
	assert.Equal(t, 10, strings.Count(err.Error(), " bytes  meal "))
	assert.Contains(t, err.Error(), "\n  and 30 more\nmost would be saved at ")
	assert.Contains(t, err.Error(), "a board with more room: m328-cells or m328-mains, 415 bytes")
}

// Gaza's explicit transitions of 2036 to 2086 do not fit a small bank: the table says until when it is right.
func TestZoneTooLongForBankShortensTheTable(t *testing.T) {
	out, err := compileText(t, `
plan = "small board"
zone = "Asia/Gaza"
board = "m168-mains"
[[meal]]
name = "breakfast"
portion = "1 pocket"
dtstart = 2026-12-01T07:00:00
`)
	require.NoError(t, err)
	assert.LessOrEqual(t, len(out.Bytes), out.Capacity)
	assert.Less(t, out.Table.Through, table.MaxDay)
	assert.Greater(t, out.Table.Through, table.Day(9831+365*40), "decades all the same")
	assert.Equal(t, out.Table.Through, out.Proof.Through)
}

// Positions among dates that SKIP has moved have no closed form; they are carried as dates as far as the bank allows.
func TestNoClosedFormBecomesDates(t *testing.T) {
	out, err := compileText(t, `
plan = "positions among moved days"
zone = "Europe/Lisbon"
[[meal]]
name = "treat"
portion = "1 pocket"
dtstart = 2026-12-31T12:00:00
rrule = "RSCALE=GREGORIAN;FREQ=MONTHLY;BYMONTHDAY=15,30,31;SKIP=FORWARD;BYSETPOS=-1"
`)
	require.NoError(t, err)
	assert.Equal(t, []string{"treat"}, out.Explicit)
	assert.LessOrEqual(t, len(out.Bytes), out.Capacity)
	assert.Less(t, out.Table.Through, table.MaxDay)
	assert.Greater(t, out.Proof.Instants, 100)
}
