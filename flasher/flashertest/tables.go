package flashertest

import (
	"testing"

	"mealtab/compiler/profile"
	"mealtab/compiler/table"
)

// Table is a table of an invented household, so many bytes long at least: two meals a day, and single dates up to the length.
func Table(t testing.TB, boardName string, times []uint16, atLeast int) []byte {
	t.Helper()
	b, ok := profile.Named(boardName)
	if !ok {
		t.Fatalf("no board %s", boardName)
	}
	tab := &table.Table{
		Board: b.Code, Start: 9800, Through: table.MaxDay, Late: table.DefaultLate,
		Wheel: table.Wheel{PocketUnits: 31, UnitMg: 200}, Button: table.Button{Portion: 31, PerHour: table.DefaultPerHour},
		Meals: []table.Meal{{Portion: 90, Parts: []table.Part{{Times: table.Times{List: times}}}}},
	}
	rule := table.Everyday()
	for {
		encoded, err := table.Encode(tab)
		if err != nil {
			t.Fatal(err)
		}
		if len(encoded) >= atLeast {
			return encoded
		}
		rule.Dates = append(rule.Dates, table.Day(12000+17*len(rule.Dates)))
		tab.Rules = []table.Rule{rule}
		tab.Meals[0].Parts = append(tab.Meals[0].Parts[:1], table.Part{Rule: 1, Times: table.Times{List: []uint16{600}}})
	}
}
