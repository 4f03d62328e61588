package honest

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// flashes lets a light flash: short ones of 32 ms, long ones of half a second, 256 ms dark between them.
func flashes(l *light, at time.Time, long bool, short int) {
	one := func(d time.Duration) {
		l.Event(true, at)
		l.Event(false, at.Add(d))
		at = at.Add(d + 256*time.Millisecond)
	}
	if long {
		one(500 * time.Millisecond)
	}
	for range short {
		one(32 * time.Millisecond)
	}
}

func TestLight(t *testing.T) {
	begin := time.Date(2027, 6, 1, 18, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name  string
		long  bool
		short int
		every time.Duration
		code  int
	}{
		{"five short", false, 5, 8 * time.Second, 5},
		{"long and one short", true, 1, 9 * time.Second, 9},
		{"long and five short", true, 5, 11 * time.Second, 13},
		{"a wink each minute is no fault", false, 1, time.Minute, 0},
	} {
		l := newLight()
		for n := range 10 {
			flashes(l, begin.Add(time.Duration(n)*c.every), c.long, c.short)
		}
		l.Settle(begin.Add(9*c.every + 10*time.Second))
		require.Equal(t, c.code, l.now(begin.Add(9*c.every+10*time.Second)), c.name)
		require.Zero(t, l.now(begin.Add(time.Hour)), c.name)
		if s, ok := l.since(begin); ok {
			require.Equal(t, shown{c.code, s.from, s.to}, s)
			require.WithinDuration(t, begin, s.from, 2*time.Second)
		}
	}
	l := newLight()
	flashes(l, begin, false, 2) // a press that was refused
	l.Settle(begin.Add(10 * time.Second))
	require.Zero(t, l.now(begin.Add(time.Second)))
}
