package trial

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler"
	"mealtab/compiler/profile"
	"mealtab/compiler/reader"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
	"mealtab/emulator/avr"
	"mealtab/firmware-template/image"
	"mealtab/flasher"
)

const cats = `zone = "Europe/Lisbon"
[wheel]
pocket = "6 g"
[[meal]]
name = "breakfast"
portion = "18 g"
at = ["07:00"]
[[meal]]
name = "night bite"
portion = "6 g"
at = ["01:30"]
`

func feeder(t *testing.T, start string, withTable bool) (*Feeder, []byte) {
	t.Helper()
	p, ds := reader.Parse("plan.toml", []byte(cats))
	require.Empty(t, ds)
	z, err := zone.Embedded().Load(p.Zone)
	require.NoError(t, err)
	b, err := profile.Load("m328-mains")
	require.NoError(t, err)
	from := table.Day((time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC).Unix() - table.Epoch) / 86400)
	out, err := compiler.Compile(p, z, compiler.Options{Board: b, From: from})
	require.NoError(t, err)
	hex, ok := image.Hex("m328-mains")
	require.True(t, ok)
	img, err := avr.ReadImage(hex)
	require.NoError(t, err)
	at, err := time.Parse(time.RFC3339, start)
	require.NoError(t, err)
	o := Options{Board: "m328-mains", Firmware: img, Start: at, Clock: z, PocketMg: 6000}
	if withTable {
		o.Table = out.Bytes
	}
	f, err := New(o)
	require.NoError(t, err)
	return f, out.Bytes
}

// runTo runs as the page does, in our time.
func runTo(t *testing.T, f *Feeder, at string) {
	t.Helper()
	to, err := time.Parse(time.RFC3339, at)
	require.NoError(t, err)
	require.NoError(t, f.RunTo(to))
	for f.State().Hurrying != "" {
		f.mu.Lock()
		f.step(tick)
		f.mu.Unlock()
	}
}

// On the night of 28 March 2027 clocks in Lisbon go from 01:00 to 02:00 (IANA data): the bite of 01:30 is served at the offset
// before the gap (RFC 5545 §3.3.5), when clocks show 02:30.
func TestNightOfTheClockChange(t *testing.T) {
	f, _ := feeder(t, "2027-03-27T12:00:00Z", true)
	runTo(t, f, "2027-03-28T00:30:00Z")
	s := f.State()
	assert.Equal(t, "00:30:00 WET", s.Time)
	assert.Equal(t, "Sun 28 March 02:30", s.Alarm1)
	assert.True(t, s.Int == false)
	runTo(t, f, "2027-03-28T08:00:00Z")
	s = f.State()
	assert.Equal(t, "09:00:00 WEST", s.Time)
	assert.EqualValues(t, 4, s.Pockets, "one for the night, three for breakfast")
	require.NotEmpty(t, s.Journal)
	assert.Equal(t, Record{"Sun 2027-03-28 07:00", "served", 3, ""}, s.Journal[0])
	assert.Equal(t, Record{"Sun 2027-03-28 02:30", "served", 1, ""}, s.Journal[1])
	assert.Contains(t, s.Log[0].Text, "the wheel turns 3 pockets")
}

func TestDisturbances(t *testing.T) {
	f, _ := feeder(t, "2026-12-01T06:00:00Z", true)
	require.NoError(t, f.Do("feed"))
	runTo(t, f, "2026-12-01T06:01:00Z")
	assert.EqualValues(t, 1, f.State().Pockets, "the button's portion")
	require.NoError(t, f.Do("jam hard"))
	runTo(t, f, "2026-12-01T07:05:00Z")
	s := f.State()
	assert.True(t, s.Jammed)
	assert.EqualValues(t, 1, s.Pockets, "a solid jam lets nothing pass")
	assert.Equal(t, "served", s.Journal[0].Event, "without an index switch the feeder cannot notice")
	require.NoError(t, f.Do("unjam"))
	require.NoError(t, f.Do("cut power"))
	runTo(t, f, "2026-12-02T00:00:00Z")
	assert.False(t, f.State().Powered)
	require.NoError(t, f.Do("give power"))
	runTo(t, f, "2026-12-02T08:00:00Z")
	assert.EqualValues(t, 5, f.State().Pockets, "the bite and the breakfast of the day after")
	assert.ErrorContains(t, f.Do("sing"), `nothing is called "sing"`)
	assert.ErrorContains(t, f.SetSpeed(3), "cannot be chosen")
	assert.ErrorContains(t, f.RunTo(f.Now()), "past that")
}

// The line: a bare feeder gets a table and serves by it.
func TestUploadOverTheLine(t *testing.T) {
	f, tab := feeder(t, "2026-12-01T06:00:00Z", false)
	err := f.Talk(func(c *flasher.Feeder) error {
		assert.Equal(t, "m328-mains", c.BoardName())
		st, err := c.Status()
		require.NoError(t, err)
		require.NoError(t, c.Upload(tab, st, nil))
		_, err = c.SetClock()
		return err
	})
	require.NoError(t, err)
	runTo(t, f, "2026-12-01T07:01:00Z")
	assert.EqualValues(t, 3, f.State().Pockets)
}

// At speed 3600 an hour passes in about a second; a busy machine may take longer.
func TestSpeed(t *testing.T) {
	f, _ := feeder(t, "2026-12-01T06:00:00Z", true)
	require.NoError(t, f.SetSpeed(3600))
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	go f.Run(ctx)
	assert.Eventually(t, func() bool { return f.State().Pockets >= 3 }, 10*time.Minute, 50*time.Millisecond)
}
