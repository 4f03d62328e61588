package calendar

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/ical"
	"mealtab/compiler/plan"
	"mealtab/compiler/source"
)

// Every property of our own that is written is among those that hints for misspelt ones are taken from.
func TestWrittenPropertiesAreKnown(t *testing.T) {
	p := &plan.Plan{Name: "x", Zone: "Etc/UTC", Gap: plan.GapOmit, Late: 30, Board: "m328-mains", Hopper: 1000, Presets: []string{"everyday", "away"}, PresetUntil: plan.Local{Year: 2026, Month: 12, Day: 20},
		Wheel: &plan.Wheel{PocketMilligrams: 6200, TurnMillis: 310, TrimMicros: -12}, Button: &plan.Button{Portion: plan.Portion{Pockets: 1}, PerHour: 2, PerDay: 6},
		Meals: []plan.Meal{{Name: "ends with -", Portion: plan.Portion{Pockets: 1}, Presets: 1, Set: plan.Recurrence{
			Start: plan.Local{Year: 2026, Month: 12, Day: 1}, At: []int{420, 1110}, Rule: &plan.Rule{Freq: plan.Daily, Interval: 1, Count: 9}}}}}
	var b bytes.Buffer
	require.NoError(t, Write(&b, p, nil, time.Unix(1_800_000_000, 0)))
	root, faults := ical.Parse(source.NewLines(b.Bytes()))
	require.Empty(t, faults)
	var ours, inEvent []string
	for _, l := range root.Children[0].Lines {
		if name, ok := strings.CutPrefix(l.Name, Prefix); ok {
			ours = append(ours, name)
		}
	}
	for _, l := range root.Children[0].Children[0].Lines {
		if name, ok := strings.CutPrefix(l.Name, Prefix); ok {
			inEvent = append(inEvent, name)
		}
	}
	assert.ElementsMatch(t, calendarKeys, ours)
	assert.ElementsMatch(t, eventKeys, inEvent)
}
