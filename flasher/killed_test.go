package flasher_test

import (
	"errors"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/flasher"
	"mealtab/flasher/flashertest"
	"mealtab/flasher/link"
)

// lived is what became of uploads whose hosts may be killed.
type lived struct{ killed, failed, finished, news int }

// hostsKilled lets a host begin an upload through noise and kills it after a random number of octets, up to five times; then one lives, over a
// good line. Meanwhile a meal falls due. Whenever the feeder is asked, it holds the old table or the new one, whole; the meal is served
// once, and the last upload succeeds.
func hostsKilled(t testing.TB, runs int, seed uint64) (l lived) {
	old := flashertest.Table(t, "m328-mains", []uint16{12*60 + 1, 23 * 60}, 0)
	next := flashertest.Table(t, "m328-mains", []uint16{12*60 + 1, 22 * 60}, 150)
	for i := range runs {
		r := rand.New(rand.NewPCG(seed, uint64(i)))
		e := flashertest.New(t, "m328-mains", old, nil)
		e.Out, e.In = time.Millisecond, 2*time.Millisecond
		s := count(e)
		e.Sleep(time.Duration(40+r.IntN(25)) * time.Second)
		for range 1 + r.IntN(5) {
			line := link.Transport(e)
			if r.IntN(2) == 0 {
				line = noise(e, r, func() {}) // a reset in the middle of a serving may cost a pocket: that is another test
			}
			switch err := proposeAndCommit(&flashertest.Mortal{Transport: line, Left: r.IntN(900)}, next); {
			case err == nil:
				l.finished++
			case errors.Is(err, flashertest.ErrKilled):
				l.killed++
			default:
				l.failed++
			}
			e.Sleep(time.Duration(r.IntN(12_000)) * time.Millisecond)
			now := inForce(t, e)
			require.True(t, flasher.Holds(now, old) || flasher.Holds(now, next), "seed %d run %d", seed, i)
			if flasher.Holds(now, next) {
				l.news++
			}
		}
		require.NoError(t, proposeAndCommit(e, next), "seed %d run %d", seed, i)
		require.True(t, flasher.Holds(inForce(t, e), next), "seed %d run %d", seed, i)
		e.Sleep(2 * time.Minute)
		require.Equal(t, servings{1, 3}, *s, "seed %d run %d", seed, i)
		require.Empty(t, e.Broken)
	}
	return l
}

// proposeAndCommit is what the command does, to the commit.
func proposeAndCommit(t link.Transport, next []byte) error {
	f, err := flasher.Connect(link.New(t, "test", 57600))
	if err != nil {
		return err
	}
	p, err := f.Propose(next)
	if err != nil {
		return err
	}
	staged, err := p.Stage(nil)
	if err != nil {
		return err
	}
	return staged.Commit(nil)
}

func TestHostsKilledAtRandom(t *testing.T) {
	runs := 60
	if flashertest.Race {
		runs = 10
	}
	l := hostsKilled(t, runs, 6)
	t.Logf("%d hosts killed, %d gave up on their lines, %d finished; %d times the new table was in force before the last: 0 violations", l.killed, l.failed, l.finished, l.news)
	require.Greater(t, l.killed, runs/2)
	require.NotZero(t, l.news)
}

func BenchmarkHostsKilledAtRandom(b *testing.B) {
	for i := 0; b.Loop(); i++ {
		l := hostsKilled(b, 2_000, uint64(7+i))
		b.ReportMetric(float64(l.killed), "killed")
		b.ReportMetric(0, "violations")
	}
}
