package flasher_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/profile"
	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/flasher"
	"mealtab/flasher/flashertest"
	"mealtab/flasher/frame"
)

// On every board of the template: upload a table as long as its bank, compare what the board itself says of its next servings with the
// replay, feed by hand, and read what it remembers.
func TestEveryBoard(t *testing.T) {
	for _, b := range profile.Boards() {
		t.Run(b.Name, func(t *testing.T) {
			m, _ := table.MapFor(b.EEPROMBytes)
			tab := flashertest.Table(t, b.Name, []uint16{12*60 + 1, 23 * 60}, m.TableRoom()-8)
			require.LessOrEqual(t, len(tab), m.TableRoom())
			e := flashertest.New(t, b.Name, nil, nil)
			f := connect(t, e)
			require.Equal(t, b.Name, f.BoardName())
			s, err := f.Status()
			require.NoError(t, err)
			require.Equal(t, flasher.NoBank, s.Bank)
			_, err = f.Table(s)
			require.ErrorIs(t, err, flasher.ErrNoTable)
			_, err = f.Next(1, 1000, 1)
			require.ErrorIs(t, err, flasher.ErrNoTable)
			require.NoError(t, f.Upload(tab, s, nil))
			_, err = f.SetClock()
			require.NoError(t, err)

			decoded, err := table.Decode(tab)
			require.NoError(t, err)
			now := table.MinuteOf(e.Now().Unix())
			c := replay.New(decoded, replay.Options{From: now + 1, Preset: replay.AllPresets})
			got, err := f.Next(now, now+30*table.MinutesPerDay, 40)
			require.NoError(t, err)
			require.Len(t, got, 40)
			for i, due := range got {
				want, ok := c.Next()
				require.True(t, ok)
				if i >= frame.NextMax { // see Due
					require.InDelta(t, want.Pockets(), due.Pockets, 1)
					due.Pockets = want.Pockets()
				}
				require.Equal(t, []int{int(want.At), want.Pockets(), want.Meals[0].Meal, len(want.Meals)}, []int{int(due.At), due.Pockets, due.Meal, due.Meals})
			}

			e.Sleep(90 * time.Second) // the meal at 12:01
			s, err = f.Status()
			require.NoError(t, err)
			pockets, err := f.Serve(s, 0)
			require.NoError(t, err)
			require.Equal(t, 1, pockets)
			e.Sleep(5 * time.Second)
			records, err := f.Records()
			require.NoError(t, err)
			require.GreaterOrEqual(t, len(records), 2)
			last := records[len(records)-2:]
			require.Equal(t, []int{table.JournalServing, 3}, []int{last[0].Kind, last[0].Pockets})
			require.Equal(t, []int{table.JournalManual, 1}, []int{last[1].Kind, last[1].Pockets})
			require.True(t, last[1].Done())

			history, err := f.History(0)
			require.NoError(t, err)
			if f.ID.HistorySlots == 0 {
				require.Empty(t, history)
				return
			}
			require.Equal(t, []int{table.EventManual, table.EventServed}, []int{history[0].Event, history[1].Event})
			recent, err := f.History(history[0].At + 1)
			require.NoError(t, err)
			require.Empty(t, recent)
			require.Empty(t, e.Broken)
		})
	}
}
