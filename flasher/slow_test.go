package flasher_test

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/flasher"
	"mealtab/flasher/flashertest"
	"mealtab/flasher/link"
)

// Bridges over a network, busy computers: whatever a round trip takes up to a second, the feeder is found, takes a table, and its clock agrees within half
// a round trip.
func TestSlowRoundTrips(t *testing.T) {
	old, next := flashertest.Table(t, "m328-mains", []uint16{420}, 0), flashertest.Table(t, "m328-mains", []uint16{480}, 150)
	trips := []time.Duration{0, 50, 120, 149, 151, 200, 250, 300, 400, 500, 650, 800, 1000}
	if flashertest.Race {
		trips = []time.Duration{0, 200, 1000}
	}
	for _, board := range []string{"m328-mains", "m328-cells"} {
		for _, trip := range trips {
			trip *= time.Millisecond
			t.Run(fmt.Sprint(board, " ", trip), func(t *testing.T) {
				if board == "m328-cells" {
					old, next = flashertest.Table(t, board, []uint16{420}, 0), flashertest.Table(t, board, []uint16{480}, 150)
				}
				e := flashertest.New(t, board, old, nil)
				e.Out, e.In = trip/2, trip/2
				requireWholeUpload(t, e, next, trip/2+5*time.Millisecond)
			})
		}
	}
}

func requireWholeUpload(t *testing.T, e *flashertest.Emulated, next []byte, agree time.Duration) {
	t.Helper()
	f := connect(t, e)
	p, err := f.Propose(next)
	require.NoError(t, err)
	staged, err := p.Stage(nil)
	require.NoError(t, err)
	require.NoError(t, staged.Commit(nil))
	r, err := f.SetClock()
	require.NoError(t, err)
	require.LessOrEqual(t, r.Offset.Abs(), agree)
	require.True(t, flasher.Holds(heldBy(t, f), next))
	require.Empty(t, e.Broken)
}

// The round trip is another each time.
func TestRoundTripsThatVary(t *testing.T) {
	old, next := flashertest.Table(t, "m328-mains", []uint16{420}, 0), flashertest.Table(t, "m328-mains", []uint16{480}, 150)
	for seed := range uint64(12) {
		r := rand.New(rand.NewPCG(seed, 11))
		e := flashertest.New(t, "m328-mains", old, nil)
		e.Jitter = func() (out, in time.Duration) {
			return time.Duration(r.IntN(400)) * time.Millisecond, time.Duration(r.IntN(400)) * time.Millisecond
		}
		requireWholeUpload(t, e, next, 500*time.Millisecond)
	}
}

// Nothing at all is still said within the time that was promised.
func TestSilenceEndsInTime(t *testing.T) {
	a := &flashertest.Answering{Octets: func([]byte) []byte { return nil }}
	began := a.Now()
	_, err := flasher.Connect(link.New(a, "port", 57600))
	require.EqualError(t, err, "port opens but nothing answers in 5 s: a feeder whose wheel turns answers when it stands again, so try once more; else it is the wrong port, has no supply or no firmware yet, or RX and TX are swapped")
	require.Less(t, a.Now().Sub(began), 6*time.Second)
}
