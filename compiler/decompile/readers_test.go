package decompile_test

import (
	"encoding/hex"
	"io"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/decompile"
	"mealtab/compiler/food/forecast"
	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/compiler/table/tablegen"
	"mealtab/compiler/units"
	"mealtab/compiler/zone"
)

// Any bytes in a good frame go through every reader of a table: none panics, and the listing leaves out no byte of what the decoder accepts.
func FuzzReaders(f *testing.F) {
	seed, err := hex.DecodeString("201a010040671dac26000001b03800011b400103200103485317")
	require.NoError(f, err)
	f.Add(seed[2 : len(seed)-2])
	for seed := range uint64(20) {
		b, err := table.Encode(tablegen.Table(rand.New(rand.NewPCG(seed, 9))))
		require.NoError(f, err)
		f.Add(b[2 : len(b)-2])
	}
	db := zone.Embedded()
	f.Fuzz(func(t *testing.T, body []byte) {
		if len(body) < 6 || len(body) > 411 {
			return
		}
		n := len(body) + 4
		b := append(append([]byte{table.Version<<4 | byte(n>>8), byte(n)}, body...), 0, 0)
		b = table.WithSequence(b, b[3])
		tab, err := table.Decode(b)
		lines, listed := table.Listing(b)
		require.Equal(t, err, listed)
		if err != nil {
			return
		}
		require.NoError(t, table.WriteListing(io.Discard, lines))
		total := 0
		for _, l := range lines {
			total += len(l.Bytes)
		}
		require.Equal(t, len(b), total)
		from := table.Minute(tab.Start) * table.MinutesPerDay
		c := replay.New(tab, replay.Options{From: from, To: from + 40*table.MinutesPerDay, Preset: replay.AllPresets})
		for range 100 {
			if _, ok := c.Next(); !ok {
				break
			}
		}
		_, _ = decompile.Table(b, db, decompile.Options{})
		forecast.Predict(forecast.Input{Table: tab, Left: units.Milligrams(100_000), From: from, Preset: replay.AllPresets})
	})
}
