package serving

import (
	"bytes"
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

// cats is a table of two meals whose portions are no whole pockets: 18 g and 20 g in pockets of 6.2 g, every day.
func cats() *Schedule {
	return &Schedule{
		Names: []string{"breakfast", "supper"}, Clock: zone.UTC(),
		Table: &table.Table{
			Through: table.MaxDay, Wheel: table.Wheel{PocketUnits: 31, UnitMg: 200},
			Meals: []table.Meal{
				{Portion: 90, Parts: []table.Part{{Times: table.Times{List: []uint16{420}}}}},
				{Portion: 100, Parts: []table.Part{{Times: table.Times{List: []uint16{1110}}}}},
			},
		},
	}
}

// The remainder is carried from the beginning of the table, wherever one begins to look.
func TestPocketsDoNotDependOnFrom(t *testing.T) {
	s := cats()
	const days = 40
	to := table.Minute(days * table.MinutesPerDay)
	all := s.Walk(Range{From: 0, To: to}, -1).Take(0)
	require.Len(t, all, 2*days)
	rapid.Check(t, func(t *rapid.T) {
		skip := rapid.IntRange(0, len(all)-1).Draw(t, "skip")
		got := s.Walk(Range{From: all[skip].At, To: to}, -1).Take(0)
		assert.Equal(t, all[skip:], got)
	})
}

// Over any time the pockets differ from the plan by at most half a pocket: 3.1 g.
func TestPocketsAddUp(t *testing.T) {
	var planned, turned int64
	for _, s := range cats().Walk(Range{From: 0, To: 400 * table.MinutesPerDay}, -1).Take(0) {
		planned += s.Milligrams()
		turned += int64(s.Pockets()) * 6200
		assert.LessOrEqual(t, max(planned-turned, turned-planned), int64(3100), "%s", s.At)
	}
}

// A reader of the JSON finds what the README promises; numbers are numbers.
func TestJSONReadsBack(t *testing.T) {
	s := cats()
	var out bytes.Buffer
	w, err := s.NewWriter("json", &out)
	require.NoError(t, err)
	for _, x := range s.Walk(Range{From: 0, To: table.MinutesPerDay}, -1).Take(0) {
		require.NoError(t, w.Write(x))
	}
	require.NoError(t, w.Close())
	var got []struct {
		Local, UTC, Offset, Zone string
		Pockets                  int
		Grams                    float64
		Meals                    []struct {
			Meal    int
			Name    string
			Pockets int
			Grams   float64
		}
	}
	require.NoError(t, json.Unmarshal(out.Bytes(), &got))
	require.Len(t, got, 2)
	assert.Equal(t, "2000-01-01T07:00:00", got[0].Local)
	assert.Equal(t, "2000-01-01T07:00:00Z", got[0].UTC)
	assert.Equal(t, "+00:00", got[0].Offset)
	assert.Equal(t, "breakfast", got[0].Meals[0].Name)
	assert.InDelta(t, 18, got[0].Meals[0].Grams, 0)
	assert.Equal(t, 3, got[0].Pockets)
	assert.InDelta(t, 20, got[1].Grams, 0)
}

func TestNoSuchFormat(t *testing.T) {
	_, err := cats().NewWriter("xml", &bytes.Buffer{})
	assert.EqualError(t, err, `no format "xml"`)
}
