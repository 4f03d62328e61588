package check

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/emulator/board"
	"mealtab/emulator/scenario"
	"mealtab/flasher/frame"
)

// given is a serving as the world saw it.
type given struct {
	at      table.Minute // at which the wheel began to turn
	pockets int
}

// ended is a feeder with two presets of which the second ends by itself, that one in force, and all that has fallen since.
type ended struct {
	*feeder
	tab  *table.Table
	end  table.Minute // of the preset
	fell []given
}

const (
	homePockets, awayPockets = 1, 3
	homePreset, awayPreset   = 0, 1
)

// midnights are zones and dates: no changes, and dates whose midnight is skipped, comes twice, or is 45 minutes off.
func midnights() map[string]struct {
	zone table.Zone
	day  table.Day
} {
	const day = 9832 // 2026-12-02
	change := func(weekdayOfDay, minutes int) *table.DST {
		return &table.DST{Shift: 4, Start: table.Transition{Month: 12, Week: 1, Weekday: weekdayOfDay, Minutes: minutes}, End: table.Transition{Month: 6, Week: 1, Weekday: 0, Minutes: 0}}
	}
	back := func(weekdayOfDay, minutes int) *table.DST {
		return &table.DST{Shift: 4, Start: table.Transition{Month: 6, Week: 1, Weekday: 0, Minutes: 0}, End: table.Transition{Month: 12, Week: 1, Weekday: weekdayOfDay, Minutes: minutes}}
	}
	const wednesday = 2
	return map[string]struct {
		zone table.Zone
		day  table.Day
	}{
		"UTC":                    {table.Zone{}, day},
		"45 minutes off":         {table.Zone{Standard: 3}, day},
		"no midnight":            {table.Zone{DST: change(wednesday, 0)}, day},
		"no midnight, omitting":  {table.Zone{DST: change(wednesday, 0), GapOmit: true}, day},
		"from 23:30 to 00:30":    {table.Zone{DST: change(wednesday-1, 23*60+30)}, day},
		"midnight twice":         {table.Zone{DST: back(wednesday, 0)}, day},
		"back from 00:01 itself": {table.Zone{DST: back(wednesday, 1)}, day},
	}
}

// newEnded lets a board live from noon until half an hour before the end, and puts the second preset in force then. The meals of the two
// lie at different minutes around midnight; atEnd says whether both have one at 00:00 too.
func newEnded(t testing.TB, zone table.Zone, day table.Day, late int, atEnd bool) *ended {
	t.Helper()
	tab := slowTable()
	tab.Board, tab.Zone, tab.Late = 1, zone, late
	tab.Wheel.TurnMillis = 310
	tab.Presets, tab.PresetUntil = 2, day
	meal := func(preset, pockets int, times ...uint16) table.Meal {
		return table.Meal{Portion: uint32(pockets), Presets: 1 << preset, Parts: []table.Part{{Times: table.Times{List: times}}}}
	}
	tab.Meals = []table.Meal{
		meal(homePreset, homePockets, 4, 70, 23*60+45, 23*60+57),
		meal(awayPreset, awayPockets, 6, 75, 23*60+40, 23*60+55),
	}
	if atEnd {
		tab.Meals = append(tab.Meals, meal(homePreset, homePockets, 0), meal(awayPreset, awayPockets, 0))
	}
	encoded, err := table.Encode(tab)
	require.NoError(t, err)
	b := newBoard(t, "m328-mains", 0)
	require.NoError(t, b.Program(encoded))
	b.SetClock(boardStart)
	b.PowerOn()
	e := &ended{feeder: &feeder{t: t, Board: b}, tab: tab, end: replay.PresetEnd(tab)}
	e.watch()
	e.RunUntil(e.end.Time().Add(-30 * time.Minute))
	_, status := e.request(frame.Settings, awayPreset, 0xFF)
	require.Equal(t, frame.OK, status)
	e.fell = nil
	return e
}

// watch sees what falls, and the answers.
func (e *ended) watch() {
	e.Observe(func(ev board.Event) {
		e.answers.see(ev)
		switch ev.Kind {
		case board.TurnStarted:
			e.fell = append(e.fell, given{at: table.MinuteOf(e.Now().Unix())})
		case board.PocketFell:
			if n := len(e.fell); n > 0 {
				e.fell[n-1].pockets++
			}
		}
	})
}

// fork is another world from here on.
func (e *ended) fork() *ended {
	f := &ended{feeder: &feeder{t: e.t, Board: e.Board.Fork(), sequence: e.sequence}, tab: e.tab, end: e.end}
	f.watch()
	return f
}

// due is what the table says for (from, to], with a preset that is in force until an instant.
func (e *ended) due(preset int, from, to, until table.Minute) (list []given) {
	c := replay.New(e.tab, replay.Options{From: from + 1, To: to + 1, Preset: preset, Until: until})
	for {
		s, ok := c.Next()
		if !ok {
			return list
		}
		list = append(list, given{s.At, s.Pockets()})
	}
}

// A preset ends at 00:00 of its date: before it its own meals are given, from then on those of the first; STATUS says so within the minute, and
// the history has the change at that minute, once.
func TestPresetEnds(t *testing.T) {
	for name, m := range midnights() {
		for _, atEnd := range []bool{true, false} {
			t.Run(fmt.Sprint(name, ", meals at the end: ", atEnd), func(t *testing.T) {
				t.Parallel()
				e := newEnded(t, m.zone, m.day, table.DefaultLate, atEnd)
				from := table.MinuteOf(e.Now().Unix())
				e.RunUntil(e.end.Time().Add(-2 * time.Second))
				require.Equal(t, awayPreset, e.status("PRESET"))
				e.RunUntil(e.end.Time().Add(10 * time.Second))
				require.Equal(t, homePreset, e.status("PRESET"))
				e.RunUntil(e.end.Time().Add(2 * time.Hour))
				want := e.due(awayPreset, from, e.end+120, e.end)
				require.Greater(t, len(want), 1)
				assert.Equal(t, want, e.fell)
				assert.Equal(t, []table.Minute{e.end}, e.changes(homePreset), "in the history")
				assert.Zero(t, e.status("FAULTS"))
			})
		}
	}
}

// changes are the instants at which the history has a preset.
func (e *ended) changes(preset int) (list []table.Minute) {
	for _, h := range scenario.History(e.Board) {
		if h.Event == "preset" && h.Value == preset {
			list = append(list, h.At)
		}
	}
	return list
}

// The plan button works as ever, before the end and after it, and in the very minutes around it: what falls is what a feeder would give that
// steps at each press, and falls back to the first preset once, at the end.
func TestPresetEndsAmongPresses(t *testing.T) {
	e := newEnded(t, table.Zone{}, 9832, table.DefaultLate, true)
	from := table.MinuteOf(e.Now().Unix())
	for _, at := range [][]int{{-10}, {-1}, {-1, -1}, {0}, {0, 0}, {1}, {-2, -1}, {-2, 0}, {-1, 0}, {-1, 1}, {-12, -3, 2}, {3, 65}} {
		t.Run(fmt.Sprint(at), func(t *testing.T) {
			f := e.fork()
			f.t = t
			preset, since := awayPreset, from
			var want []given
			ends := e.end
			step := func(to table.Minute, next int) {
				want = append(want, e.due(preset, since, to, ends)...)
				preset, since = next, to
			}
			for i, minute := range at {
				press := e.end + table.Minute(minute)
				f.RunUntil(press.Time().Add(time.Duration(20+10*i) * time.Second)) // what is due in this minute has fallen
				f.Press(board.ButtonPreset, 200*time.Millisecond)
				f.Run(3 * time.Second)
				inForce := preset
				if minute >= 0 && ends != 0 {
					inForce = homePreset
				}
				step(press, 1-inForce)
				if minute >= 0 {
					ends = 0
				}
			}
			step(e.end+120, preset)
			f.RunUntil((e.end + 120).Time())
			assert.Equal(t, want, f.fell)
			after := preset
			if ends != 0 {
				after = homePreset
			}
			assert.Equal(t, after, f.status("PRESET"))
		})
	}
}

// The supply fails around the end, for a moment or across it: of what was due meanwhile the newest is given, each by the preset that was in
// force at its instant; nothing comes twice; and the first preset is in force afterwards.
func TestPresetEndsThroughCuts(t *testing.T) {
	t.Parallel()
	e := newEnded(t, table.Zone{}, 9832, 120, true)
	from := table.MinuteOf(e.Now().Unix())
	cuts := 0
	for _, off := range []time.Duration{2 * time.Second, 90 * time.Second, 8 * time.Minute, 50 * time.Minute} {
		for at := -9 * time.Minute; at <= 7*time.Minute; at += 61 * time.Second {
			f := e.fork()
			f.RunUntil(e.end.Time().Add(at + 31*time.Second)) // no wheel turns
			f.cut(off)
			on := table.MinuteOf(f.Now().Unix())
			cut := table.MinuteOf(e.end.Time().Add(at + 31*time.Second).Unix())
			f.RunUntil((e.end + 200).Time())
			want := e.due(awayPreset, from, cut, e.end)
			if missed := e.due(awayPreset, cut, on, e.end); len(missed) > 0 {
				late := missed[len(missed)-1]
				want = append(want, given{on, late.pockets})
			}
			want = append(want, e.due(awayPreset, on, e.end+200, e.end)...)
			require.Equal(t, want, f.fell, "cut %v from the end for %v", at, off)
			require.Equal(t, homePreset, f.status("PRESET"), "cut %v from the end for %v", at, off)
			cuts++
		}
	}
	t.Logf("%d cuts", cuts)
}

// A cut at any of the instants at which the end is being recorded leaves it before or behind: the first preset is in force a moment after the
// supply is back, and a preset that is chosen then stays.
func TestPresetEndsThroughCutsOfItsRecord(t *testing.T) {
	t.Parallel()
	e := newEnded(t, table.Zone{}, 9832, 0, false)
	e.RunUntil(e.end.Time().Add(-300 * time.Millisecond))
	step := 2300 * time.Microsecond
	if testing.Short() {
		step *= 7
	}
	torn := 0
	for at := time.Duration(0); at < 1300*time.Millisecond; at += step {
		f := e.fork()
		f.Run(at)
		f.cut(2 * time.Second)
		f.Run(5 * time.Second)
		require.Equal(t, homePreset, f.status("PRESET"), "cut %v after", at)
		n := len(f.changes(homePreset))
		require.Contains(t, []int{0, 1, 2}, n)
		if n != 1 {
			torn++
		}
		_, status := f.request(frame.Settings, awayPreset, 0xFF)
		require.Equal(t, frame.OK, status)
		f.cut(time.Second)
		f.Run(3 * time.Minute)
		require.Equal(t, awayPreset, f.status("PRESET"), "cut %v after", at)
	}
	t.Logf("the history has the change not once after %d cuts", torn)
}

// A clock that is set over the end, forwards and back, and one that has run ahead of it.
func TestPresetEndsThroughClocks(t *testing.T) {
	e := newEnded(t, table.Zone{}, 9832, table.DefaultLate, true)
	at := func(minutes int) time.Time { return (e.end + table.Minute(minutes)).Time() }
	t.Run("set over it", func(t *testing.T) {
		f := e.fork()
		f.t = t
		f.setClock(at(3))
		require.Equal(t, homePreset, f.status("PRESET"))
	})
	t.Run("set back from beyond it", func(t *testing.T) {
		f := e.fork()
		f.t = t
		f.setClock(at(60))
		f.setClock(at(-30))
		require.Equal(t, homePreset, f.status("PRESET"), "it has ended, as far as the feeder knew")
		_, status := f.request(frame.Settings, awayPreset, 0xFF)
		require.Equal(t, frame.OK, status)
		f.Run(25 * time.Minute)
		require.Equal(t, awayPreset, f.status("PRESET"))
		f.Run(10 * time.Minute)
		require.Equal(t, homePreset, f.status("PRESET"), "it ends at its date again")
	})
	t.Run("a few minutes ahead, and set back", func(t *testing.T) {
		f := e.fork()
		f.t = t
		f.setClock(at(5))
		f.Run(2 * time.Minute)
		f.setClock(at(-1))
		answer, status := f.request(frame.Settings, awayPreset, 0xFF)
		require.Equal(t, frame.OK, status)
		require.Equal(t, byte(homePreset), answer[0], "what would never end does not begin")
		f.RunUntil(f.Now().Add(time.Hour))
		require.Equal(t, homePreset, f.status("PRESET"))
	})
	t.Run("the clock is silent across it", func(t *testing.T) {
		f := e.fork()
		f.t = t
		f.Silence(true)
		f.Run(50 * time.Minute) // the watchdog is a tenth off at most
		require.Equal(t, homePreset, f.status("PRESET"))
	})
}

// A preset that is not the first winks: two flashes within a tenth of a second, about once a minute, and no more than a fiftieth of what a
// board on cells draws asleep (0.13 mA, with 3 mA in the LED). A fault takes its place. The first preset leaves the light dark.
func TestPresetWinks(t *testing.T) {
	const sleeping, led, running = 0.13, 3.0, 5.2 // mA: GUIDE.md, "Measuring it" and part R12; ATmega328P data sheet, table 29-9
	for name, code := range map[string]uint8{"m328-mains": 1, "m328-cells": 2} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newBoard(t, name, 0)
			tab := slowTable()
			tab.Board, tab.Presets = code, 8
			encoded, err := table.Encode(tab)
			require.NoError(t, err)
			require.NoError(t, b.Program(encoded))
			b.SetClock(boardStart)
			var lit []time.Duration // when the light went on and off
			f := &feeder{t: t, Board: b}
			b.Observe(func(ev board.Event) {
				f.answers.see(ev)
				if ev.Kind == board.Light {
					lit = append(lit, time.Duration(ev.At))
				}
			})
			b.PowerOn()
			b.Run(time.Minute)
			dark := awakeFor(b, time.Hour)
			require.Empty(t, lit)
			for _, preset := range []byte{1, 7} {
				_, status := f.request(frame.Settings, preset, 0xFF)
				require.Equal(t, frame.OK, status)
				b.Run(time.Minute)
				lit = nil
				awake := awakeFor(b, time.Hour)
				require.Zero(t, len(lit)%4)
				winks := len(lit) / 4
				require.InDelta(t, 3600/65.7, winks, 2)
				on := time.Duration(0)
				for i := 0; i < len(lit); i += 4 {
					require.Less(t, lit[i+3]-lit[i], 120*time.Millisecond)
					on += lit[i+1] - lit[i] + lit[i+3] - lit[i+2]
				}
				more := (led*on.Seconds() + running*(awake-dark).Seconds()) / 3600
				t.Logf("%d winks in an hour, lit for %v, awake for %v more: %.4f mA", winks, on, awake-dark, more)
				require.Less(t, more, sleeping/25)
			}
			f.latch(table.FaultBitMissed)
			b.Run(time.Minute)
			lit = nil
			b.Run(5 * time.Minute)
			require.Zero(t, len(lit)%14, "seven flashes a round, and no wink between")
			_, status := f.request(frame.FaultsClear, 0xFF, 0xFF)
			require.Equal(t, frame.OK, status)
			_, status = f.request(frame.Settings, 0, 0xFF)
			require.Equal(t, frame.OK, status)
			b.Run(time.Minute)
			lit = nil
			b.Run(time.Hour)
			require.Empty(t, lit, "the first preset")
		})
	}
}
