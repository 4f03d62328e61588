package decompile_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/decompile"
	"mealtab/compiler/plan"
	"mealtab/compiler/reader"
	"mealtab/compiler/zone"
)

// raised compiles the text of a plan and raises the table, with the plan's names.
func raised(t *testing.T, meals string) *plan.Plan {
	t.Helper()
	db := zone.Embedded()
	p, ds := reader.Parse("plan.toml", []byte("zone = \"Europe/Lisbon\"\n[wheel]\npocket = \"6 g\"\n"+meals))
	require.NotNil(t, p, "%v", ds)
	z, err := db.Load(p.Zone)
	require.NoError(t, err)
	encoded, _, err := compile(t, p, z, 9497)
	require.NoError(t, err)
	var names []string
	for _, m := range p.Meals {
		names = append(names, m.Name)
	}
	r, err := decompile.Table(encoded, db, decompile.Options{Zones: []string{p.Zone}, Names: names, Always: true})
	require.NoError(t, err)
	require.True(t, r.Exact)
	return r.Plan
}

func meal(name, portion, rest string) string {
	return fmt.Sprintf("[[meal]]\nname = %q\nportion = %q\n%s\n", name, portion, rest)
}

func TestChanges(t *testing.T) {
	breakfast := meal("breakfast", "18 g", `at = ["07:00"]`)
	supper := meal("supper", "18 g", `at = ["18:30"]`)
	for _, c := range []struct{ name, old, next, want string }{
		{"nothing", breakfast + supper, breakfast + supper, "as before breakfast|as before supper"},
		{"another order", supper + breakfast, breakfast + supper, "as before breakfast|as before supper"},
		{"more", breakfast + supper, breakfast + supper + meal("night", "6 g", `at = ["23:00"]`), "as before breakfast|as before supper|new night: 6 g, every day at 23:00"},
		{"fewer", breakfast + supper, supper, "as before supper|gone breakfast: 18 g, every day at 07:00"},
		{"amount", breakfast + supper, meal("breakfast", "20 g", `at = ["07:00"]`) + supper, "amount breakfast: 20 g, was 18 g; every day at 07:00|as before supper"},
		{"time", breakfast + supper, breakfast + meal("supper", "18 g", `at = ["19:00"]`), "as before breakfast|moved supper: 18 g, every day at 19:00; was every day at 18:30"},
		{"days", breakfast + supper, breakfast + meal("supper", "18 g", "rrule = \"FREQ=WEEKLY;BYDAY=MO,WE\"\nat = [\"18:30\"]"),
			"as before breakfast|moved supper: 18 g, every Monday and Wednesday at 18:30; was every day at 18:30"},
	} {
		t.Run(c.name, func(t *testing.T) {
			var got []string
			for _, change := range decompile.Changes(raised(t, c.old), raised(t, c.next)) {
				words := ": " + change.Words()
				if change.Kind == decompile.Same {
					words = ""
				}
				got = append(got, fmt.Sprintf("%v %s%s", change.Kind, change.Meal().Name, words))
			}
			require.Equal(t, c.want, strings.Join(got, "|"))
		})
	}
}
