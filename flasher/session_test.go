package flasher_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/flasher"
	"mealtab/flasher/flashertest"
	"mealtab/flasher/frame"
)

// What MESSAGES.md says of silence: a frame without a preamble is answered for 7 s after the last good one, and no more after 18 s.
func TestBoardStaysAwakeAfterAFrame(t *testing.T) {
	offsets := 8 // in the watchdog's period
	if flashertest.Race {
		offsets = 1
	}
	for _, name := range []string{"m328-mains", "m328-cells"} {
		for offset := range offsets {
			for _, silence := range []time.Duration{0, 4 * time.Second, 7 * time.Second, 18 * time.Second, time.Minute} {
				e := flashertest.New(t, name, flashertest.Table(t, name, []uint16{420}, 0), nil)
				e.Sleep(30*time.Second + time.Duration(offset)*time.Second)
				f := connect(t, e)
				_, err := f.Status()
				require.NoError(t, err)
				e.Sleep(silence)
				answer := exchange(t, e, frame.Append(nil, []byte{frame.Identify, 0xC1}))
				require.Equal(t, silence < 8*time.Second, len(answer) > 0, "%s, %v of silence", name, silence)
			}
		}
	}
}

// There is no session that could run out: between any two requests of an upload an hour may pass.
func TestUploadWithLongSilences(t *testing.T) {
	for _, name := range []string{"m328-mains", "m328-cells"} {
		old, next := flashertest.Table(t, name, []uint16{420}, 0), flashertest.Table(t, name, []uint16{480}, 200)
		for _, silence := range []time.Duration{5900 * time.Millisecond, 6100 * time.Millisecond, 8 * time.Second, 12 * time.Second, 18 * time.Second, time.Hour} {
			t.Run(fmt.Sprint(name, " ", silence), func(t *testing.T) {
				e := flashertest.New(t, name, old, nil)
				f := connect(t, e)
				p, err := f.Propose(next)
				require.NoError(t, err)
				staged, err := p.Stage(func(step flasher.Step, done, _ int) {
					if step == flasher.Writing && done > 0 {
						e.Sleep(silence)
					}
				})
				require.NoError(t, err)
				require.NoError(t, staged.Commit(nil))
				e.Sleep(silence)
				require.True(t, flasher.Holds(heldBy(t, f), next))
				if silence < 6*time.Second || silence > 17*time.Second { // else a board that is awake may take the preamble for a bad frame
					require.Zero(t, f.Link().Stats.Resent)
				}
				require.Empty(t, e.Broken)
			})
		}
	}
}
