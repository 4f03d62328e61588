package main

import (
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/flasher"
	"mealtab/flasher/flashertest"
)

// One octet in a hundred is damaged, lost or doubled: nearly every upload comes through, and what the command says at its end is what
// the feeder holds.
func TestUploadThroughNoise(t *testing.T) {
	beforeName, before := planFile(t, planBefore)
	afterName, after := planFile(t, planAfter)
	uploads, good := 60, 0
	if flashertest.Race {
		uploads = 10
	}
	h := newHome(t, before, nil)
	held := before
	for i := range uploads {
		name, next := afterName, after
		if i%2 == 1 {
			name, next = beforeName, before
		}
		r := rand.New(rand.NewPCG(5, uint64(i)))
		h.boards["desk"] = &flashertest.Noisy{Transport: h.feeder, Random: r, Flip: 0.006 / 8, Drop: 0.002, Double: 0.002}
		began := h.feeder.Now()
		code, out, errs := h.start("", "upload", name, "--port", "desk", "--rehearse", "0", "--yes")
		took := h.feeder.Now().Sub(began)
		require.Less(t, took.Seconds(), 60.0, "%s%s", out, errs)
		f := h.talk()
		st, err := f.Status()
		require.NoError(t, err)
		now, err := f.Table(st)
		require.NoError(t, err)
		switch {
		case code == 0:
			good++
			require.True(t, flasher.Holds(now, next), "%s%s", out, errs)
			held = next
		case strings.Contains(errs, "mealtab status says which"):
			require.True(t, flasher.Holds(now, next) || flasher.Holds(now, held), errs)
		default:
			t.Log(i, took, errs)
			require.True(t, flasher.Holds(now, held), errs)
		}
		if flasher.Holds(now, next) {
			held = next
		}
	}
	t.Logf("%d of %d uploads came through", good, uploads)
	require.GreaterOrEqual(t, good, uploads*95/100)
}
