package honest_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/emulator/honest"
)

// TestHardPairs: pairs in which one fault spoils what the firmware does about the other, at every phase. The sweep's sample seldom
// meets them.
func TestHardPairs(t *testing.T) {
	withIndex := []string{"m328-index", "m328-both"}
	withBarrier := []string{"m328-barrier", "m328-both"}
	hard := []struct {
		images []string
		pairs  []string
	}{
		// A switch that fails while a pocket that was cut, or that ran on, is to be finished to it: no more than a pocket too much.
		{withIndex, []string{
			"power cut of a second+index never closes", "power cut of 20 minutes+index never opens", "plug loose for an hour+index never closes",
			"loose plug+index never closes", "index never closes+port opened every 7 minutes", "index never closes+program hangs",
			"index never opens+program hangs without interrupts", "stop pulse 12 µs off+program hangs",
		}},
		// A switch that fails where a jam was backed out before.
		{withIndex, []string{"kibble jams+index never closes", "kibble jams+index never opens", "jam that frees itself+index never closes"}},
		// A clock that was found out is not believed again because somebody opens the port: else it ends the hour of the limit.
		{[]string{"m328-mains", "m168-mains"}, []string{
			"clock jumps ahead 3 h+pressed every 13 minutes", "clock jumps ahead 3 h+asked for 1 pocket every 7 minutes",
			"clock jumps ahead 3 h+port opened every 7 minutes", "clock jumps back 3 h+port opened every 7 minutes", "clock silent+port opened every 7 minutes",
		}},
		// A stop pulse that is off is a push too.
		{withIndex, []string{"wheel blocked+resonator 0.5 % slow", "wheel blocked+stop pulse 12 µs off"}},
		// A button that is down while the wheel turns has not seen what the light shows afterwards; a finger later has.
		{withBarrier, []string{
			"bridge of 6 pockets+feed button stuck", "wheel at 60 % load+feed button stuck", "hopper empty+feed button stuck",
			"jam that frees itself+pressed every 13 minutes",
		}},
	}
	var cases []honest.Case
	for _, h := range hard {
		for _, image := range h.images {
			for _, pair := range h.pairs {
				for phase := range honest.Phases {
					c, err := honest.ParseCase(fmt.Sprintf("%s/good/%s/%d~", image, pair, phase))
					require.NoError(t, err)
					cases = append(cases, c)
				}
			}
		}
	}
	outcomes, err := honest.Sweep(cases, nil)
	require.NoError(t, err)
	for _, o := range outcomes {
		for _, v := range o.Broken {
			t.Errorf("go test ./emulator/honest -v -run TestCase -case %q\n    %s", o.Case, v)
		}
	}
	t.Logf("%d runs", len(cases))
}
