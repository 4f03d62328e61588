package saved

import (
	"bytes"
	"fmt"
	"os"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"mealtab/compiler/table"
)

// life is an endless sequence of records as a feeder writes them: sequence bytes that come again, a clock that stands still or jumps.
func life(t *rapid.T, n int) []table.History {
	at := table.Minute(14_000_000)
	still := rapid.Bool().Draw(t, "clock stands still")
	first := rapid.Uint8().Draw(t, "first sequence")
	list := make([]table.History, n)
	for i := range list {
		switch jump := rapid.IntRange(0, 99).Draw(t, "jump"); {
		case jump == 0:
			at -= table.Minute(rapid.IntRange(0, 3000).Draw(t, "back"))
		case !still:
			at += table.Minute(jump)
		}
		list[i] = table.History{Sequence: first + uint8(i), At: at, Event: rapid.IntRange(1, 16).Draw(t, "event"), Value: uint16(i)}
		if !still {
			list[i].Value %= 3 // servings are much alike; where time and number are too, nothing tells two records apart
		}
	}
	return list
}

var someTable = func() []byte {
	b, err := table.Encode(&table.Table{Board: 1, Start: 9862, Through: 20000, Wheel: table.Wheel{PocketUnits: 1},
		Meals: []table.Meal{{Portion: 1, Parts: []table.Part{{Times: table.Times{List: []uint16{420}}}}}}})
	if err != nil {
		panic(err)
	}
	return b
}()

// window is a reading of records [from, to).
func window(all []table.History, from, to int) *Log {
	when := time.Date(2026, 12, 1, 0, 0, to, 0, time.UTC)
	tab := &Table{Bytes: table.WithSequence(someTable, uint8(to/300)), Plan: `a "plan"`, Zone: "Europe/Lisbon", Meals: []string{"ארוחת בוקר"}}
	return Reading(Feeder{Board: 1, Slots: 511, Name: "kitchen"}, slices.Clone(all[from:to]), State{Computer: when, Feeder: all[to-1].At, Adjust: 10, Left: -1}, tab)
}

// Whatever the order of readings, and however often one is merged, the file holds the union of what they saw: that is computed here from the
// positions alone, which the merge does not know.
func TestMergeIsUnion(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 1400).Draw(t, "records")
		all := life(t, n)
		seen := make([]bool, n+1) // seen[i]: records i-1 and i were in one reading
		held := make([]bool, n)
		var logs []*Log
		for range rapid.IntRange(1, 6).Draw(t, "readings") {
			to := rapid.IntRange(1, n).Draw(t, "to")
			from := max(0, to-rapid.SampledFrom([]int{3, 30, 511}).Draw(t, "ring"))
			logs = append(logs, window(all, from, to))
			for i := from; i < to; i++ {
				held[i] = true
				if i > from {
					seen[i] = true
				}
			}
		}
		var want [][]table.History
		for i := range all {
			if held[i] && seen[i] {
				want[len(want)-1] = append(want[len(want)-1], all[i])
			} else if held[i] {
				want = append(want, []table.History{all[i]})
			}
		}
		merged := func(list []*Log) *Log {
			l := &Log{}
			for _, next := range list {
				l = Merge(l, next)
			}
			return l
		}
		first := merged(logs)
		var got [][]table.History
		for _, r := range first.Runs {
			got = append(got, r.Records)
		}
		require.Equal(t, want, got)
		text := first.Text()
		other := merged(rapid.Permutation(append(slices.Clone(logs), logs...)).Draw(t, "order"))
		require.Equal(t, string(text), string(other.Text()))
		// In the other grouping too: a file of some, merged with a file of the others.
		cut := rapid.IntRange(0, len(logs)).Draw(t, "cut")
		require.Equal(t, string(text), string(Merge(merged(logs[:cut]), merged(logs[cut:])).Text()))

		back, torn, err := Parse(text)
		require.NoError(t, err)
		require.Empty(t, torn)
		require.Equal(t, string(text), string(back.Text()))
		require.Equal(t, string(text), string(Merge(back, logs[0]).Text()))
	})
}

// A file that was cut off anywhere is read up to there, or is refused; merged with what the feeder still remembers it is whole again. Nothing that
// was not in it is ever read.
func TestCutAnywhere(t *testing.T) {
	var all []table.History
	for i := range 7 {
		all = append(all, table.History{Sequence: uint8(250 + i), At: table.Minute(14_000_000 + 100*i), Event: 1 + i, Value: uint16(3 * i)})
	}
	whole := window(all, 0, 7)
	text := whole.Text()
	for cut := range len(text) {
		l, torn, err := Parse(text[:cut])
		require.NoError(t, err, cut)
		for _, r := range l.Runs {
			require.Equal(t, all[:len(r.Records)], append([]table.History{}, r.Records...))
			for _, s := range r.States {
				require.Equal(t, whole.Runs[0].States[0], s)
			}
		}
		if text[cut-min(cut, 1)] != '\n' && cut > 0 && torn == "" {
			last := text[bytes.LastIndexByte(text[:cut], '\n')+1 : cut]
			require.Regexp(t, `^(mealtab history 1|#.*|records without a gap:|feeder .*|table .*|20.*)$`, string(last))
		}
		healed := Merge(l, whole)
		require.Equal(t, all, healed.Runs[0].Records, cut)
		require.Len(t, healed.Runs, 1)
	}
}

// A line that was edited is named and nothing is read; a line that was taken out leaves a gap, which the next reading closes; a note stays.
func TestEdited(t *testing.T) {
	var all []table.History
	for i := range 5 {
		all = append(all, table.History{Sequence: uint8(i), At: table.Minute(14_000_000 + 100*i), Event: table.EventServed, Value: 3})
	}
	l := window(all, 0, 5)
	lines := bytes.SplitAfter(l.Text(), []byte("\n"))
	third := slices.IndexFunc(lines, func(b []byte) bool {
		return bytes.Contains(b, []byte("served  3")) || bytes.Contains(b, []byte("served 3"))
	}) + 2
	edit := func(line string) []byte {
		other := slices.Clone(lines)
		other[third] = []byte(line)
		return bytes.Join(other, nil)
	}
	_, _, err := Parse(edit(string(bytes.Replace(lines[third], []byte("served 3"), []byte("served 4"), 1))))
	require.EqualError(t, err, fmt.Sprintf(`line %d: its words say "2026-08-14T08:40Z  served 4 pockets", its digits "2026-08-14T08:40Z  served 3 pockets": `+
		`one of the two was edited; put the line back as it was, or a # before it`, third+1))
	_, _, err = Parse(edit("the vet was here\n"))
	require.ErrorContains(t, err, `"the vet was here" is no record`)

	gap, _, err := Parse(edit(""))
	require.NoError(t, err)
	require.Len(t, gap.Runs, 2)
	require.Equal(t, string(l.Text()), string(Merge(gap, l).Text()))

	noted, _, err := Parse(edit("# the vet was here\r\n" + string(lines[third])))
	require.NoError(t, err)
	require.Equal(t, all, noted.Runs[0].Records)
	require.Contains(t, string(Merge(Merge(l, noted), noted).Text()), "# the vet was here\n"+string(lines[third]))

	for _, bad := range []string{"mealtab history 2\n", "[[meal]]\n", "mealtab history x\n", "[[meal]]", "mealtab"} {
		_, torn, err := Parse([]byte(bad))
		if bad == "mealtab" { // the beginning of one
			require.NoError(t, err)
			require.Equal(t, bad, torn)
			continue
		}
		require.Error(t, err, bad)
	}
}

// Two feeders are told apart, as far as anything tells them apart.
func TestSame(t *testing.T) {
	serve := func(first uint8, times ...int) (list []table.History) {
		for i, at := range times {
			list = append(list, table.History{Sequence: first + uint8(i), At: table.Minute(at), Event: table.EventServed, Value: 3})
		}
		return list
	}
	reading := func(name string, board uint8, tab uint8, list []table.History) *Log {
		return Reading(Feeder{Board: board, Name: name}, list, State{}, &Table{Bytes: table.WithSequence(someTable, tab)})
	}
	old := reading("kitchen", 1, 1, serve(0, 100, 200, 300))
	for _, c := range []struct {
		what    string
		reading *Log
		why     string
		certain bool
	}{
		{"it goes on", reading("kitchen", 1, 1, serve(1, 200, 300, 400)), "", false},
		{"it has another name now", reading("hall", 1, 2, serve(1, 200, 300, 400)), "", false},
		{"it has another board on the old memory", reading("hall", 2, 2, serve(2, 300, 400)), "", false},
		{"the ring went round", reading("kitchen", 1, 2, serve(9, 500, 600)), "", false},
		{"the ring went round, the same table", reading("", 1, 1, serve(9, 500, 600)), "", false},
		{"nothing speaks for it", reading("", 1, 2, serve(9, 500, 600)), "no record in common", false},
		{"another name", reading("hall", 1, 1, serve(9, 500, 600)), "other names", false},
		{"another board", reading("kitchen", 2, 1, serve(9, 500, 600)), "other boards", false},
		{"the same plan at the same times", reading("kitchen", 1, 1, serve(9, 100, 200, 300)), "of which the file has others", true},
		{"a new one without records", reading("hall", 1, 1, nil), "other names", false},
	} {
		s := Same(old, c.reading)
		if c.why == "" {
			require.Nil(t, s, c.what)
			continue
		}
		require.NotNil(t, s, c.what)
		require.ErrorContains(t, s, c.why, c.what)
		require.Equal(t, c.certain, s.Certain, c.what)
	}
	require.Nil(t, Same(&Log{}, old))
}

// Files of version 1 are read for ever.
func TestOldFile(t *testing.T) {
	text, err := os.ReadFile("testdata/version-1.history")
	require.NoError(t, err)
	l, torn, err := Parse(text)
	require.NoError(t, err)
	require.Empty(t, torn)
	require.Equal(t, Feeder{Board: 1, Slots: 511, Name: "kitchen"}, l.Feeder)
	require.Equal(t, 3, l.Records())
	require.Equal(t, []string{`breakfast "early"`}, l.Tables[0].Meals)
	require.Equal(t, []Placed[string]{{2, "# The vet was here."}}, l.Runs[0].Notes)
	require.Equal(t, text, l.Text())
}
