package flasher_test

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/table"
	"mealtab/flasher"
	"mealtab/flasher/flashertest"
	"mealtab/flasher/link"
)

// noises are lines from good to hopeless: bit errors from 10⁻⁵ to 10⁻², lost and doubled octets, pauses, restarts.
func noise(t link.Transport, r *rand.Rand, restart func()) *flashertest.Noisy {
	n := &flashertest.Noisy{Transport: t, Random: r, OnReset: restart}
	n.Flip = []float64{1e-5, 1e-4, 1e-3, 3e-3, 1e-2}[r.IntN(5)]
	n.Drop, n.Double, n.Pause = n.Flip*r.Float64(), n.Flip*r.Float64(), n.Flip*r.Float64()
	if r.IntN(4) == 0 {
		n.Restart = 0.05
	}
	return n
}

// noisyUploads makes uploads one after the other over bad lines; after each, the board is asked over a good one. The sequence numbers
// wrap many times over.
func noisyUploads(t testing.TB, how flashertest.Build, uploads int, seed uint64) (good, failed int) {
	p := flashertest.NewPiped(t, 57600, how)
	held := []byte(nil)
	for i := range uploads {
		r := rand.New(rand.NewPCG(seed, uint64(i)))
		next := flashertest.Table(t, "m328-mains", []uint16{uint16(r.IntN(720)), 720 + uint16(r.IntN(720))}, r.IntN(3)*r.IntN(200))
		err := uploadOnce(noise(p, r, p.Restart), next)
		p.Sleep(link.Patience) // what was still on the way arrives
		now := inForce(t, p)
		id := fmt.Sprintf("seed %d upload %d: %v", seed, i, err)
		switch {
		case err == nil:
			good++
			require.Equal(t, next, now, id)
		default:
			failed++
			require.True(t, bytes.Equal(now, next) || bytes.Equal(now, held), "%s: the board holds % X", id, now)
		}
		held = now
	}
	return good, failed
}

// uploadOnce connects, asks and uploads, as the command does.
func uploadOnce(t link.Transport, next []byte) error {
	f, err := flasher.Connect(link.New(t, "test", 57600))
	if err != nil {
		return err
	}
	s, err := f.Status()
	if err != nil {
		return err
	}
	return f.Upload(next, s, nil)
}

// inForce asks over a good line what the board holds, sequence number 0; nil: nothing.
func inForce(t testing.TB, p link.Transport) []byte {
	t.Helper()
	f, err := flasher.Connect(link.New(p, "good", 57600))
	require.NoError(t, err)
	s, err := f.Status()
	require.NoError(t, err)
	tab, err := f.Table(s)
	if err != nil {
		require.ErrorIs(t, err, flasher.ErrNoTable)
		return nil
	}
	_, err = table.Decode(tab)
	require.NoError(t, err)
	return table.WithSequence(tab, 0)
}

// A line that lies, loses and repeats: the upload completes or fails, and the board holds the old table or the new one, whole. The
// benchmark makes 5,000 uploads, and its
// companion below 10,000 to the firmware itself.
func TestNoisyUploads(t *testing.T) {
	uploads := 400
	if flashertest.Race {
		uploads = 150
	}
	good, failed := noisyUploads(t, flashertest.Sanitized, uploads, 1)
	t.Logf("%d completed, %d failed", good, failed)
	require.Greater(t, good, uploads/2)
}

func BenchmarkNoisyUploads(b *testing.B) {
	const uploads = 5_000
	for i := 0; b.Loop(); i++ {
		good, failed := noisyUploads(b, flashertest.Fast, uploads, uint64(2+i))
		b.ReportMetric(float64(good), "completed")
		b.ReportMetric(float64(failed), "failed")
		b.ReportMetric(0, "wrong")
	}
}

// The same with the firmware itself on the emulated board, its receiver sampling the line, and the latency of a USB bridge.
func TestNoisyUploadsToEmulatedBoard(t *testing.T) {
	uploads := 300
	if flashertest.Race {
		uploads = 30
	}
	good := noisyUploadsToBoard(t, uploads, 3)
	t.Logf("%d of %d completed", good, uploads)
	require.Greater(t, good, uploads/2)
}

func BenchmarkNoisyUploadsToEmulatedBoard(b *testing.B) {
	const uploads = 10_000
	for i := 0; b.Loop(); i++ {
		good := noisyUploadsToBoard(b, uploads, uint64(4+i))
		b.ReportMetric(float64(good), "completed")
		b.ReportMetric(uploads-float64(good), "failed")
		b.ReportMetric(0, "wrong")
	}
}

func noisyUploadsToBoard(t testing.TB, uploads int, seed uint64) (good int) {
	e := flashertest.New(t, "m328-mains", nil, nil)
	e.Out, e.In = time.Millisecond, 2*time.Millisecond
	held := []byte(nil)
	for i := range uploads {
		r := rand.New(rand.NewPCG(seed, uint64(i)))
		next := flashertest.Table(t, "m328-mains", []uint16{uint16(r.IntN(720)), 720 + uint16(r.IntN(720))}, r.IntN(3)*r.IntN(100))
		err := uploadOnce(noise(e, r, e.Board.Reset), next)
		e.Sleep(link.Patience)
		now := inForce(t, e)
		if err == nil {
			good++
			require.Equal(t, next, now, "seed %d upload %d", seed, i)
		}
		require.True(t, bytes.Equal(now, next) || bytes.Equal(now, held), "seed %d upload %d: %v: the board holds % X", seed, i, err, now)
		held = now
	}
	require.Empty(t, e.Broken)
	return good
}
