package compiler

import (
	"fmt"
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
