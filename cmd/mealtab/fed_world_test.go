package main

import (
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/compiler/report/fed"
	"mealtab/compiler/table"
	"mealtab/emulator/board"
)

const planWorld = `plan = "Juniper and Moss"
zone = "Europe/Lisbon"
late = "2h"
[wheel]
pocket = "6 g"
[[meal]]
name = "breakfast"
portion = "18 g"
at = ["07:00"]
[[meal]]
name = "supper"
portion = "20 g"
at = ["18:30"]
[[meal]]
name = "night"
portion = "2 g"
at = ["23:50"]
`

// What is said of each serving is what fell in the emulated world, whatever went wrong: power cuts of any length and in the middle of a serving, a
// jam, servings by hand. The referee is the count of pockets that the wheel has emptied, which no firmware sees, hour by hour. What is said to
// be not known is left out, and there must be little of it.
func TestFedIsWhatFell(t *testing.T) {
	seeds := 3
	if n, err := strconv.Atoi(os.Getenv("FED_WORLDS")); err == nil {
		seeds = n
	}
	_, tab := planFile(t, planWorld)
	said, unsaid := 0, 0
	for seed := range uint64(seeds) {
		random := rand.New(rand.NewPCG(seed, 16))
		h := newHome(t, tab, func(c *board.Config) {
			c.Start = time.Date(2026, 10, 23, 12, 0, 0, 0, time.UTC) // two days before the clocks change
		})
		var falls []table.Minute // of each pocket, in the world
		h.feeder.OnEvent = func(e board.Event) {
			if e.Kind == board.PocketFell {
				falls = append(falls, moment.Minute(h.feeder.Board.Time(e.At)))
			}
		}
		doubtful, cuts := map[table.Minute]bool{}, 0
		for range 10 {
			h.feeder.Sleep(time.Duration(1+random.IntN(600)) * time.Minute)
			switch random.IntN(5) {
			case 0: // a cut, of minutes to half a day
				h.feeder.Board.PowerOff()
				h.feeder.Repower(time.Duration(1+random.IntN(700)) * time.Minute)
			case 1: // a cut in the middle of whatever turns
				serveByHand(h)
				h.feeder.Sleep(time.Duration(random.IntN(900)) * time.Millisecond)
				doubtful[moment.Minute(h.feeder.Now())] = true
				h.feeder.Board.PowerOff()
				h.feeder.Repower(time.Duration(1+random.IntN(300)) * time.Minute)
				cuts++
				doubtful[moment.Minute(h.feeder.Now())] = true // the rest comes now
			case 2:
				serveByHand(h)
				h.feeder.Sleep(time.Minute)
			}
		}
		h.feeder.Sleep(3 * time.Hour)

		f := h.talk()
		s := &session{Feeder: f, a: newApp(nil, nil, nil)}
		s.a.now = h.feeder.Now()
		log, err := s.reading("")
		require.NoError(t, err)
		in := fed.Input{Log: log}
		in.Clock, in.Title = s.a.fedClock(log)
		r := fed.Compare(in)
		turned, doubts := int64(0), int64(cuts)
		for i := range r.Days {
			for _, serving := range r.Days[i].Servings {
				if serving.Turned < 0 || serving.State == fed.Waiting {
					unsaid++
					doubts += int64(max(serving.Planned, 0))
					continue
				}
				said++
				turned += int64(serving.Turned)
			}
		}
		fell := h.feeder.Board.Pockets()
		// A cut in the middle of a serving may cost or give a pocket, and the light says so; all else is exact.
		require.InDelta(t, fell, turned, float64(doubts), "seed %d", seed)
		require.Len(t, falls, int(fell))
		checkEach(t, r, falls, doubtful)
	}
	require.Greater(t, said, 20*unsaid)
}

// checkEach holds each serving of the plan against the pockets that fell, where nothing was given by hand at the same time.
func checkEach(t *testing.T, r *fed.Report, falls []table.Minute, doubtful map[table.Minute]bool) {
	t.Helper()
	const late = 120 // of the plan
	var hand []table.Minute
	for at := range doubtful {
		hand = append(hand, at)
	}
	for i := range r.Days {
		for _, s := range r.Days[i].Servings {
			if s.State == fed.ByHand {
				hand = append(hand, s.Due)
			}
		}
	}
	between := func(list []table.Minute, from, to table.Minute) (n int) {
		for _, at := range list {
			if at >= from && at <= to {
				n++
			}
		}
		return n
	}
	for i := range r.Days {
		for _, s := range r.Days[i].Servings {
			if s.State == fed.ByHand || s.Turned < 0 || between(hand, s.Due-5, s.Due+late+5) > 0 {
				continue
			}
			switch s.State {
			case fed.Given:
				require.Equal(t, s.Turned, between(falls, s.Due, s.Due+late+5), "%+v", s)
			case fed.Late:
				require.Zero(t, between(falls, s.Due, s.Due+table.Minute(s.LateBy)-1), "%+v", s)
				require.Equal(t, s.Turned, between(falls, s.Due+table.Minute(s.LateBy), s.Due+late+5), "%+v", s)
			case fed.Missed:
				require.Zero(t, between(falls, s.Due, s.Due+late+5), "%+v", s)
			}
		}
	}
}

// serveByHand presses the button.
func serveByHand(h *home) { h.feeder.Board.Press(board.ButtonFeed, 100*time.Millisecond) }
