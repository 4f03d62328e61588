package main

import (
	"io"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/power"
	"mealtab/compiler/profile"
	"mealtab/emulator/scenario"
)

// A year's counts from a rehearsal of less, or more, than a year.
func TestCountedScalesToAYear(t *testing.T) {
	c := counted(&scenario.Report{Emulated: 73 * 24 * time.Hour, Servings: 146, Wakes: 1000, Awake: 2 * time.Second,
		Idle: 30 * time.Second, Wheel: 20 * time.Second, Writes: 300, PageWrites: 146}, 8e6)
	assert.True(t, c.Counted)
	assert.InDelta(t, 730, c.Servings, 1e-9)
	assert.InDelta(t, 10, float64(c.Awake()), 1e-9)
	assert.InDelta(t, 100, float64(c.Wheel), 1e-9)
	assert.InDelta(t, 100+730*0.16, float64(c.Servo), 1e-9)
	assert.InDelta(t, 1500, c.EEPROMWrites, 1e-9)
}

// What is computed is what the firmware really does, counted on the emulated board. The month before the end of the calendar
// stands for a year, to save time. The wheel's own inertia makes its turns longer than the pulses.
func TestComputedAgreesWithCounted(t *testing.T) {
	const text = "zone = \"Europe/Lisbon\"\nboard = \"m328-cells\"\n[[meal]]\nname = \"m\"\nportion = \"2 pockets\"\nrrule = \"FREQ=DAILY\"\nat = [\"07:00\"]\n"
	a := newApp(strings.NewReader(""), io.Discard, io.Discard)
	a.now = time.Date(2099, 12, 1, 0, 0, 0, 0, time.UTC)
	l, err := a.loadPlan("p.toml", []byte(text))
	require.NoError(t, err)
	c, err := a.compile(l, compileOptions{})
	require.NoError(t, err)
	count, err := a.countYear(c, batteryFlags{})
	require.NoError(t, err)
	compute, err := a.countYear(c, batteryFlags{computed: true})
	require.NoError(t, err)
	require.True(t, count.Counted)
	require.False(t, compute.Counted)
	assert.InEpsilon(t, compute.Servings, count.Servings, 0.04, "a serving on the first or the last day")
	assert.InEpsilon(t, compute.Wakes, count.Wakes, 0.02)
	assert.InEpsilon(t, float64(compute.Wheel), float64(count.Wheel), 0.2)
	assert.InEpsilon(t, float64(compute.Idle), float64(count.Idle), 0.1)
	assert.InEpsilon(t, float64(compute.Awake()), float64(count.Awake()), 0.3)
	assert.InEpsilon(t, compute.EEPROMWrites, count.EEPROMWrites, 0.1)
	cells, _ := profile.Named("m328-cells")
	p, err := power.Of(cells)
	require.NoError(t, err)
	assert.InEpsilon(t, p.Range(compute)[1].Years, p.Range(count)[1].Years, 0.01)
}
