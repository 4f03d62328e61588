package calibrate

import (
	"errors"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/units"
)

func TestParseList(t *testing.T) {
	for _, text := range []string{"62.1 g, 61.8 g, 63.0 g", "62.1, 61.8, 63.0", "62.1 61.8 63.0", "62.1g 61.8g 63.0 g", "62.1;61.8;63.0 g"} {
		list, err := ParseList(10, text)
		require.NoError(t, err, text)
		assert.Equal(t, []Weighing{{10, 62_100, 100, 0}, {10, 61_800, 100, 0}, {10, 63_000, 100, 0}}, list, text)
	}
	list, err := ParseList(4, "2 oz 2.1 oz")
	require.NoError(t, err)
	assert.Equal(t, units.Milligrams(28_350), list[0].Step)
	assert.Equal(t, units.Milligrams(2_835), list[1].Step)
	for text, want := range map[string]string{
		"":            `no weighing is given: write for example "62.1 g, 61.8 g, 63.0 g"`,
		"62.1 stones": `"stones" is not a unit for this (g, kg, mg, oz or lb)`,
		"0":           `"0 g" is outside 1 mg to 1000 kg`,
	} {
		_, err := ParseList(10, text)
		assert.EqualError(t, err, want)
	}
	_, err = ParseList(0, "62 g")
	assert.EqualError(t, err, "0 pockets are outside 1 to 1000")
}

func TestReadCSV(t *testing.T) {
	want := []Weighing{{10, 62_100, 100, 3100}, {12, 74_000, 1000, 0}}
	for _, src := range []string{
		"pockets,grams,ms\n10,62.1,3100\n12,74,\n",
		"10,62.1,3100\n12,74\n",
		"# July\nweight (g),n,time (ms)\n62.1,10,3100\n74,12,\n",
		"pockets;grams;ms\r\n10;62,1;3100\r\n12;74;\r\n",
		"\xEF\xBB\xBFpockets,grams,note,ms\n10,62.1 g,first,3100\n12,74 g,,\n",
	} {
		list, err := ReadCSV("w.csv", []byte(src))
		require.NoError(t, err, src)
		assert.Equal(t, want, list, src)
	}
	for src, want := range map[string]string{
		"":                           "w.csv: there are no weighings in it",
		"pockets,grams\n":            "w.csv: there are no weighings in it",
		"pockets,ounces\n1,2\n":      "w.csv:1:1: the columns must be pockets and grams, and may be ms",
		"pockets,grams,g\n1,2,2\n":   "w.csv:1:15: there are two columns grams",
		"10,62.1\nten,61\n":          `w.csv:2:1: "ten" is not a number of pockets from 1 to 1000`,
		"10,62.1\n10,6 1\n":          `w.csv:2:4: "6 1" has no unit (g, kg, mg, oz or lb): write for example "4.2 kg"`,
		"10,62.1,3100\n10,61,fast\n": `w.csv:2:7: "fast" is not a time in milliseconds`,
		"10,62.1,3100\n10\n":         "w.csv:2:1: pockets and grams are wanted in every line",
		"10,62.1,3100,9\n":           "w.csv:1:14: there is a field too many",
		"10,\"62.1\n":                `w.csv:1:10: extraneous or missing " in quoted-field`,
	} {
		_, err := ReadCSV("w.csv", []byte(src))
		assert.EqualError(t, err, want, src)
	}
}

// board is a wheel that takes 310 ms a pocket and breaks down after so many turns.
type board struct{ turns, lasts int }

func (b *board) Turn(pockets int) (int, units.Milliseconds, error) {
	if b.turns++; b.turns > b.lasts {
		return 0, 0, errors.New("the wheel is stuck")
	}
	return pockets, units.Milliseconds(310 * pockets), nil
}

func TestAsk(t *testing.T) {
	var out strings.Builder
	list, err := Ask(strings.NewReader("62.1\nsixty\n61.8 g\nundo\nundo\nundo\n63\n62\n\n99\n"), &out, nil, 10)
	require.NoError(t, err)
	assert.Equal(t, []Weighing{{10, 63_000, 1000, 0}, {10, 62_000, 1000, 0}}, list)
	assert.Contains(t, out.String(), `"sixty" is not a number with a unit`)
	assert.Contains(t, out.String(), "There is nothing to take back.")
	assert.Contains(t, out.String(), "so far 6.25 g a pocket, ±10.2 %; about 1 more for ±3 %\n")
	list, err = Ask(strings.NewReader("\n62.1\n\n61.8\nq\n99\n"), &out, &board{lasts: 9}, 10)
	require.NoError(t, err)
	assert.Equal(t, []Weighing{{10, 62_100, 100, 3100}, {10, 61_800, 100, 3100}}, list)
	list, err = Ask(strings.NewReader("\n62.1\n\n61.8\n"), &out, &board{lasts: 1}, 10)
	assert.EqualError(t, err, "the wheel is stuck")
	assert.Len(t, list, 1, "what was weighed is not lost")
	never := &board{}
	_, err = Ask(strings.NewReader("q\n"), &out, never, 10)
	require.NoError(t, err)
	assert.Equal(t, 0, never.turns, "the wheel does not turn unasked")
}

func FuzzReadCSV(f *testing.F) {
	for _, s := range []string{"10,62.1,3100\n", "pockets;grams\n10;62,1\n", "#\n\n,\n"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, src []byte) {
		list, err := ReadCSV("f", src)
		if err == nil {
			if r := Pockets(list); !(r.Mean > 0) {
				t.Errorf("%q: mean %v", src, r.Mean)
			}
		}
	})
}

func FuzzEditWheel(f *testing.F) {
	for _, s := range []string{"[wheel]\npocket = '1 g'\n", "wheel = {}", "[a]\n[[b]]\n", "wheel.x.y = 1\n", "a = 1 # \n", "[wheel]\nturn.x = 2"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, src []byte) {
		_, _ = EditWheel(src, []Setting{{"pocket", "6.2 g"}}) // compares for itself, must not panic
	})
}
