package main

import (
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/emulator/scenario"
	"mealtab/flasher/flashertest"
)

// What the board's log says is what fell: a meal by its name, once, however many turns it takes; a press is one by hand. No line speaks of wires
// but those that were typed, each of which is answered. The summary counts the same.
func TestBoardsLogSpeaksOfMeals(t *testing.T) {
	t.Setenv("XDG_CACHE_HOME", t.TempDir())
	_, tab := planFile(t, planBefore)
	e := flashertest.New(t, "m328-mains", tab, nil)
	var out strings.Builder
	l := newLive(e.Board, scenario.NewLog(replay.NewClock(&table.Zone{}), &out), 1)
	said := func(d time.Duration, typed string) string {
		out.Reset()
		l.obey(typed)
		l.b.Run(d)
		return out.String()
	}
	require.Empty(t, said(time.Minute, ""))
	require.Contains(t, said(time.Minute, "press feed"), "asked for by hand: 1 pocket\n")
	day := said(24*time.Hour, "")
	require.Equal(t, 1, strings.Count(day, "supper is due: 3 pockets\n"))
	require.Equal(t, 1, strings.Count(day, "breakfast is due: 3 pockets\n"))
	require.NotContains(t, day, "INT")
	require.NotContains(t, day, "servo")
	summary := l.diary.summary()
	require.Contains(t, summary, "in 24 h 2 min: breakfast once, supper once, by hand once; 7 pockets fell, ")
	require.EqualValues(t, 7, l.b.Pockets())
	require.Contains(t, summary, "next would be supper at Sat 2026-12-05 18:30 UTC\n")

	for _, name := range slices.Sorted(maps.Keys(liveCommands)) {
		c := liveCommands[name]
		if args, ok := map[string]string{"press": " plan", "supply": " 5", "speed": " 1", "reset": "", "quit": ""}[name]; ok {
			require.Contains(t, said(time.Second, name+args), "> "+name)
		} else {
			require.GreaterOrEqual(t, strings.Count(said(0, name), "\n"), 2, "what was typed, and an answer: %s", c.usage)
		}
		require.Contains(t, said(0, name+" a b c"), ": "+c.usage+"\n")
		require.Contains(t, said(0, "help"), "  "+c.usage+" ")
	}
	require.Contains(t, said(0, "dance"), `? "dance" is not a command; help lists them`)
}
