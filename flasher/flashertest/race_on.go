//go:build race

package flashertest

// Race says that the race detector is on, which makes everything some ten times slower: counted runs are then a sample, and
// whole in the benchmarks.
const Race = true
