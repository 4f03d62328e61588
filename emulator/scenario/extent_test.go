package scenario_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/table"
	"mealtab/emulator/scenario"
)

// Six meals of two pockets a day, from the day after the rehearsal begins: a limit ends it with the day in which it is reached.
func TestRehearsalEndsWithTheDayOfItsLastServing(t *testing.T) {
	for _, c := range []struct {
		servings, days int // days run, with the first that serves nothing
	}{{1, 2}, {6, 2}, {7, 3}, {12, 3}, {13, 4}} {
		r := rehearsal(t, "m328-mains", 10)
		r.Until, r.Servings = 0, c.servings
		report, err := scenario.Rehearse(r)
		require.NoError(t, err)
		until := r.From + table.Minute(c.days)*table.MinutesPerDay
		require.Equal(t, []scenario.Window{{From: r.From, To: until}}, report.Windows, "%d servings", c.servings)
		require.Equal(t, 6*(c.days-1), report.Servings)
		require.Equal(t, until, report.Left.From)
		require.Greater(t, report.Left.To, r.From+9*365*table.MinutesPerDay, "all that was asked for and not run is said")
	}
}

// A household's plan is far below the limit, a table that serves every minute is not; pockets count too.
func TestExtent(t *testing.T) {
	r := rehearsal(t, "m328-mains", 10)
	r.Until = 0
	whole := scenario.Windows(decoded(t, r.Table), r.From, 10, false)
	windows, left := r.Extent(decoded(t, r.Table))
	require.Equal(t, whole, windows)
	require.Zero(t, left)
	for _, c := range []struct{ pockets, days int }{{1, 71}, {3, 71}, {6, 36}, {60, 5}} { // 100,000 / 1,440 servings, or 300,000 / 1,440 / pockets, rounded up, and a day of none
		busy := decoded(t, r.Table)
		busy.Meals = []table.Meal{{Portion: uint32(c.pockets) * busy.Wheel.PocketUnits, Parts: []table.Part{{Times: table.Times{Cycle: &table.Cycle{Period: 1, Hours: table.AllHours}}}}}}
		windows, left := r.Extent(busy)
		require.Len(t, windows, 1)
		require.Equal(t, table.Minute(c.days)*table.MinutesPerDay, scenario.Length(windows), "%d pockets", c.pockets)
		require.Equal(t, windows[0].To, left.From)
	}
}

func decoded(t *testing.T, bytes []byte) *table.Table {
	tab, err := table.Decode(bytes)
	require.NoError(t, err)
	return tab
}
