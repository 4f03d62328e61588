package honest_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/emulator/honest"
)

func TestCaseTextsRepeat(t *testing.T) {
	for _, c := range append(honest.Days(), honest.Sample(honest.Pairs(1), 50, 7)...) {
		again, err := honest.ParseCase(c.String())
		require.NoError(t, err)
		require.Equal(t, c, again)
	}
	for text, want := range map[string]string{
		"m328-mains/good/solid jam":    "is not a case, such as",
		"m328-mains/good/solid jam/9":  "the phase is 0 to 7",
		"m328-mains/good/solid jam/-1": "the phase is 0 to 7",
	} {
		_, err := honest.ParseCase(text)
		require.ErrorContains(t, err, want)
	}
	for text, want := range map[string]string{
		"m328-cells/good/solid jam/1":                 `m328-cells has no supply "good"; there are fresh cells, half-used cells`,
		"m328-mains/good/barrier blind/1":             `m328-mains cannot have the fault "barrier blind"`,
		"m999/good/solid jam/1":                       `no board for the image "m999"`,
		"m328-mains/good/solid jam+coffee in it/1":    `cannot have the fault "coffee in it"`,
		"m168-mains/half-used cells/power cut of a/1": `m168-mains has no supply "half-used cells"`,
	} {
		c, err := honest.ParseCase(text)
		require.NoError(t, err)
		_, err = honest.Bases{}.Run(c, nil)
		require.ErrorContains(t, err, want)
	}
}

// TestEnough: the sweep is as large as it says.
func TestEnough(t *testing.T) {
	n := len(honest.Days()) + len(honest.Singles()) + len(honest.Pairs(honest.PairPhases))
	t.Logf("%d days, %d evenings of one fault, %d of two", len(honest.Days()), len(honest.Singles()), len(honest.Pairs(honest.PairPhases)))
	require.GreaterOrEqual(t, n, 20_000)
}
