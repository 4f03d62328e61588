package flasher_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/table"
	"mealtab/flasher"
	"mealtab/flasher/flashertest"
	"mealtab/flasher/link"
)

// household is an emulated board that has lived: a table, preset, portions and a carry of its own.
type household struct {
	*flashertest.Emulated
	old, next []byte
	state     flasher.Status
}

func newHousehold(t testing.TB) household {
	t.Helper()
	h := household{
		old:  presetTable(t, 7*60, 0),
		next: presetTable(t, 8*60, 3),
	}
	h.Emulated = flashertest.New(t, "m328-mains", h.old, nil)
	f := connect(t, h.Emulated)
	_, _, err := f.Settings(1, 9)
	require.NoError(t, err)
	s, err := f.Status()
	require.NoError(t, err)
	_, err = f.Serve(s, 40) // leaves a carry
	require.NoError(t, err)
	h.Sleep(3 * time.Second)
	h.state, err = f.Status()
	require.NoError(t, err)
	require.NotZero(t, h.state.Carry)
	return h
}

// presetTable is a table with two presets and some single dates.
func presetTable(t testing.TB, minute uint16, dates int) []byte {
	t.Helper()
	rule := table.Everyday()
	tab := &table.Table{
		Board: 1, Start: 9800, Through: table.MaxDay, Late: table.DefaultLate, Presets: 2,
		Wheel: table.Wheel{PocketUnits: 31, UnitMg: 200}, Button: table.Button{Portion: 31, PerHour: table.DefaultPerHour},
		Meals: []table.Meal{
			{Portion: 90, Parts: []table.Part{{Times: table.Times{List: []uint16{minute, 18*60 + 30}}}}},
			{Portion: 40, Presets: 1, Parts: []table.Part{{Times: table.Times{List: []uint16{13 * 60}}}}},
		},
	}
	for i := range dates {
		rule.Dates = append(rule.Dates, table.Day(12000+17*i))
	}
	if dates > 0 {
		tab.Rules = []table.Rule{rule}
		tab.Meals[0].Parts = append(tab.Meals[0].Parts, table.Part{Rule: 1, Times: table.Times{List: []uint16{600}}})
	}
	encoded, err := table.Encode(tab)
	require.NoError(t, err)
	return encoded
}

// whole asks the board, started again, what it holds: the old table or the new one, with preset, portions and carry as they
// were; and the next upload must work.
func (h household) whole(t testing.TB, e *flashertest.Emulated, id string) (isNew bool) {
	t.Helper()
	f, err := flasher.Connect(e.Link("emulated"))
	require.NoError(t, err, id)
	s, err := f.Status()
	require.NoError(t, err, id)
	held, err := f.Table(s)
	require.NoError(t, err, id)
	isNew = flasher.Holds(held, h.next)
	require.True(t, isNew || flasher.Holds(held, h.old), "%s: the board holds % X", id, held)
	require.Equal(t, []int{h.state.Preset, h.state.Adjust, h.state.Carry, int(h.state.Token)}, []int{s.Preset, s.Adjust, s.Carry, int(s.Token)}, id)
	require.Empty(t, e.Broken, id)
	other := h.next
	if isNew {
		other = h.old
	}
	require.NoError(t, f.Upload(other, s, nil), id)
	return isNew
}

// writes lists the EEPROM writes of an undisturbed upload: when they start and end.
func (h household) writes(t testing.TB) (list [][2]uint64) {
	e := h.Fork()
	e.Watch = func() {
		mcu := e.Board.MCU()
		if _, _, end, busy := mcu.EEPROMBusy(); busy {
			ends := mcu.NanosAt(end)
			if n := len(list); n == 0 || list[n-1][1] != ends {
				list = append(list, [2]uint64{ends - eepromWrite, ends})
			}
		}
	}
	require.NoError(t, uploadOnce(e, h.next))
	e.Sleep(time.Second)
	return list
}

const eepromWrite = 3_400_000 // ns, erase and write (ATmega328P data sheet, table 8-1)

// cutPoints are before, inside and after a write: at its start, in its erase and in its program phase, and at its end.
func cutPoints(w [2]uint64) []uint64 {
	return []uint64{w[0] - 30_000, w[0] + eepromWrite/4, w[0] + eepromWrite*3/4, w[1] + 5_000}
}

// Supply and cable fail at every EEPROM write of an upload, before, inside and after it. The counted result has no violations: the
// first one ends the test with the identity of its cut.
func TestPowerCutAtEveryWrite(t *testing.T) {
	stride := 1
	if flashertest.Race {
		stride = 7
	}
	cuts, olds, news := powerCuts(t, stride)
	t.Logf("%d cuts: %d times the old table, %d times the new one, 0 violations", cuts, olds, news)
	require.NotZero(t, olds)
	require.NotZero(t, news)
}

func BenchmarkPowerCuts(b *testing.B) {
	for b.Loop() {
		cuts, _, _ := powerCuts(b, 1)
		b.ReportMetric(float64(cuts), "cuts")
		b.ReportMetric(0, "violations")
	}
}

// eachCut forks the household for every stride-th cut point of an upload's writes, the last one always.
func (h household) eachCut(t testing.TB, stride int, do func(e *flashertest.Emulated, at uint64, id string)) {
	t.Helper()
	list := h.writes(t)
	require.Greater(t, len(list), len(h.next), "every byte of the table and more is written")
	for n, w := range list {
		for phase, at := range cutPoints(w) {
			if (4*(len(list)-n)-phase-1)%stride == 0 { // the last always: it follows the commit
				do(h.Fork(), at, fmt.Sprintf("write %d of %d, phase %d", n, len(list), phase))
			}
		}
	}
}

func powerCuts(t testing.TB, stride int) (cuts, olds, news int) {
	h := newHousehold(t)
	h.eachCut(t, stride, func(e *flashertest.Emulated, at uint64, id string) {
		e.PowerCut = at
		err := uploadOnce(e, h.next)
		if e.PowerCut != 0 { // after the host has done with it
			e.Sleep(time.Second)
		}
		require.Zero(t, e.PowerCut, id)
		e.Repower(2 * time.Second)
		cuts++
		if h.whole(t, e, id) {
			news++
		} else {
			olds++
			require.Error(t, err, id)
		}
	})
	return cuts, olds, news
}

// The board is reset at every EEPROM write, before, inside and after it, while the cable stays: the host goes on by itself.
func TestResetAtEveryWrite(t *testing.T) {
	stride := 1
	if flashertest.Race {
		stride = 7
	}
	h := newHousehold(t)
	resets := 0
	h.eachCut(t, stride, func(e *flashertest.Emulated, at uint64, id string) {
		e.Resets = []uint64{at}
		err := uploadOnce(e, h.next)
		e.Sleep(time.Second)
		require.Empty(t, e.Resets, id)
		resets++
		require.NoError(t, err, id)
		require.True(t, h.whole(t, e, id), id)
	})
	t.Logf("%d resets, every upload completed", resets)
}

// The cable is pulled after every octet on the line, either way; the board goes on.
func TestUnpluggedAfterEveryOctet(t *testing.T) {
	stride := 1
	if flashertest.Race {
		stride = 9
	}
	h := newHousehold(t)
	total := 0
	count := h.Fork()
	count.Cut = func() bool { total++; return false }
	require.NoError(t, uploadOnce(count, h.next))
	olds, news := 0, 0
	for n := 1; n <= total; n += stride {
		e := h.Fork()
		left := n
		e.Cut = func() bool { left--; return left == 0 }
		err := uploadOnce(e, h.next)
		if n < total {
			require.ErrorIs(t, err, link.ErrClosed, "octet %d", n)
		}
		e.Cut, e.Unplugged = nil, false
		e.Sleep(10 * time.Second)
		if h.whole(t, e, fmt.Sprintf("unplugged after octet %d of %d", n, total)) {
			news++
		} else {
			olds++
		}
	}
	t.Logf("%d octets: %d times the old table, %d times the new one, 0 violations", total, olds, news)
	require.NotZero(t, news)
}
