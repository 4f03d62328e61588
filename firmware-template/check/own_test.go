package check

import (
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/profile"
	"mealtab/compiler/table"
	"mealtab/emulator/avr"
	"mealtab/emulator/board"
	"mealtab/emulator/scenario"
	"mealtab/flasher"
	"mealtab/flasher/flashertest"
)

// moved is the example of a board of one's own, on which everything that can be moved is.
const moved = "../../testdata/boards/moved.toml"

// own builds a board that is described in a file, as a builder does, with some of its lines replaced.
func own(t *testing.T, description string, replaced ...string) (*profile.Profile, *avr.Image) {
	t.Helper()
	text, err := os.ReadFile(description)
	require.NoError(t, err)
	toml := filepath.Join(t.TempDir(), filepath.Base(description))
	require.NoError(t, os.WriteFile(toml, []byte(strings.NewReplacer(replaced...).Replace(string(text))), 0o644))
	out, err := exec.Command("make", "-s", "-C", "..", "WORK="+built, "BOARD="+toml).CombinedOutput()
	require.NoError(t, err, "%s", out)
	p, err := profile.Load(toml)
	require.NoError(t, err)
	hex, err := os.ReadFile(strings.TrimSuffix(toml, ".toml") + ".hex")
	require.NoError(t, err)
	img, err := avr.ReadImage(hex)
	require.NoError(t, err)
	return p, img
}

// threePockets is a table for a board: three pockets at each of these minutes of the day.
func threePockets(t *testing.T, p *profile.Profile, times ...uint16) []byte {
	t.Helper()
	wheel := table.Wheel{PocketUnits: 1}
	encoded, err := table.Encode(&table.Table{
		Board: p.Code, Start: 9830, Through: table.MaxDay, Late: table.DefaultLate, Wheel: wheel, Button: table.DefaultButton(wheel),
		Meals: []table.Meal{{Portion: 3, Parts: []table.Part{{Times: table.Times{List: times}}}}},
	})
	require.NoError(t, err)
	return encoded
}

// The example moves every pin that the chip lets move, and turns every level over.
func TestExampleMovesEverything(t *testing.T) {
	p, err := profile.Load(moved)
	require.NoError(t, err)
	template, _ := profile.Named(profile.Default)
	mine, theirs := reflect.ValueOf(p.Pins), reflect.ValueOf(template.Pins)
	fixed := 0
	for i := range mine.NumField() {
		pin := mine.Field(i).String()
		if strings.Contains(profile.Fixed(), pin) {
			fixed++
			continue
		}
		require.NotEqual(t, theirs.Field(i).String(), pin, mine.Type().Field(i).Name)
	}
	require.Equal(t, 5, fixed, "OC1A, SDA, SCL, RXD, TXD")
	mine, theirs = reflect.ValueOf(p.Active), reflect.ValueOf(template.Active)
	for i := range mine.NumField() {
		require.NotEqual(t, theirs.Field(i).String(), mine.Field(i).String(), mine.Type().Field(i).Name)
	}
	require.Negative(t, p.ServoTurnMicros*template.ServoTurnMicros)
}

// A board of one's own serves a year as its table says, with its sensors and without, and the template's wiring does not.
func TestOwnBoardIsRehearsed(t *testing.T) {
	p, img := own(t, moved)
	servesAYear(t, p, img)
	p, img = own(t, moved, "index_switch  = true", "index_switch  = false", "light_barrier = true", "light_barrier = false")
	require.Empty(t, p.Sensors())
	servesAYear(t, p, img)
}

func servesAYear(t *testing.T, p *profile.Profile, img *avr.Image) {
	t.Helper()
	encoded := threePockets(t, p, 7*60, 18*60+30)
	r := scenario.Rehearsal{Table: encoded, Firmware: img, Board: p, From: table.Minute(9831 * table.MinutesPerDay), Years: 1, Full: true}
	report, err := scenario.Rehearse(r)
	require.NoError(t, err)
	require.Greater(t, report.Servings, 700)
	require.Empty(t, report.Violations)

	wired := *p
	template, _ := profile.Named(profile.Default)
	wired.Pins = template.Pins
	r.Board, r.Until = &wired, r.From+2*table.MinutesPerDay
	_, err = scenario.Rehearse(r)
	var difference *scenario.Difference
	require.ErrorAs(t, err, &difference)
}

// Its sensors see what they should, at their pins and levels.
func TestOwnBoardsSensors(t *testing.T) {
	p, img := own(t, moved)
	turn := time.Duration(p.TurnMillis) * time.Millisecond
	feeder := func(t *testing.T, hopper float64) *feeder {
		return newFeederOn(t, p, img, 3, turn, func(c *board.Config) { c.Wheel.HopperMg = hopper })
	}
	t.Run("good", func(t *testing.T) {
		f := feeder(t, 1e9)
		f.Run(3 * time.Hour)
		require.EqualValues(t, 9, f.Pockets())
		require.Zero(t, f.faults())
	})
	for _, c := range []struct {
		name string
		fail func(f *board.Board)
		want int
	}{
		{"jam", func(b *board.Board) { b.Jam(1.3, false) }, table.FaultBitJam},
		{"switch never closes", func(b *board.Board) { b.SetIndex(board.NeverCloses) }, table.FaultBitSwitch},
		{"switch never opens", func(b *board.Board) { b.SetIndex(board.NeverOpens) }, table.FaultBitSwitch},
		{"barrier dark", func(b *board.Board) { b.SetBeam(board.BeamDark) }, table.FaultBitBarrier},
		{"barrier blind", func(b *board.Board) { b.SetBeam(board.BeamBlind) }, table.FaultBitEmpty},
		{"clock's wire", func(b *board.Board) { b.CutInt(true) }, 0},
		{"weak adapter", func(b *board.Board) { b.SetSource(4450, -1) }, table.FaultBitSupply},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := feeder(t, 1e9)
			c.fail(f.Board)
			f.Run(40 * time.Minute)
			require.Equal(t, c.want, int(f.faults())&c.want, "faults %04X", f.faults())
			require.False(t, f.BoostOn())
		})
	}
	t.Run("nothing fell", func(t *testing.T) {
		f := feeder(t, 0)
		f.Run(10 * time.Minute)
		require.NotZero(t, f.faults()&table.FaultBitEmpty)
	})
}

// Its buttons do what they should and its LED says so; asked over its line at its rate, it says what it is, and takes a table.
func TestOwnBoardsHands(t *testing.T) {
	p, img := own(t, moved)
	c := board.ForProfile(p)
	c.Firmware, c.Start = img, flashertest.Start
	b, err := board.New(c)
	require.NoError(t, err)
	b.SetClock(b.Now())
	e := flashertest.NewEmulated(b)
	f, err := flasher.Connect(e.Link("own"))
	require.NoError(t, err)
	require.Equal(t, []int{int(p.Code), flasher.SensorIndex | flasher.SensorBarrier, p.ClockHz / 1000}, []int{int(f.ID.Board), f.ID.Sensors, f.ID.ClockKHz})
	st, err := f.Status()
	require.NoError(t, err)
	require.NoError(t, f.Upload(threePockets(t, p, 7*60), st, nil))
	e.Sleep(30 * time.Second)

	flashes := 0
	e.OnEvent = func(ev board.Event) {
		if ev.Kind == board.Light && ev.Value == 1 {
			flashes++
		}
	}
	for _, press := range []struct{ button, pockets, flashes int }{
		{board.ButtonFeed, 1, 0}, {board.ButtonPortion, 0, 4}, {board.ButtonPreset, 0, 1},
	} {
		flashes = 0
		before := b.Pockets()
		b.Press(press.button, 300*time.Millisecond)
		e.Sleep(20 * time.Second)
		require.EqualValues(t, press.pockets, b.Pockets()-before, "button %d", press.button)
		require.Equal(t, press.flashes, flashes, "button %d", press.button)
		require.False(t, b.LED())
	}
}
