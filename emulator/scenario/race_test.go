//go:build race

package scenario_test

// raceEnabled: the race detector makes the emulator some ten times slower; the counts that the sweeps promise are run without it.
const raceEnabled = true
