package known

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/table"
)

// tab is a table of one meal at 07:00, through a day.
func tab(t *testing.T, through int) []byte {
	t.Helper()
	b, err := table.Encode(&table.Table{Board: 1, Start: 9862, Through: table.Day(through), Wheel: table.Wheel{PocketUnits: 1},
		Meals: []table.Meal{{Portion: 1, Parts: []table.Part{{Times: table.Times{List: []uint16{420}}}}}}})
	require.NoError(t, err)
	return b
}

// cache is an empty cache directory of the user's.
func cache(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	t.Setenv("XDG_CACHE_HOME", dir)
	t.Setenv("HOME", dir)
	return filepath.Join(dir, "mealtab")
}

func TestNamesAreKept(t *testing.T) {
	dir := cache(t)
	one, other := tab(t, 20000), tab(t, 20001)
	_, ok := Of(one)
	require.False(t, ok)
	require.NoError(t, Keep(one, Names{Plan: "p", Zone: "Europe/Lisbon", Meals: []string{"breakfast"}}))
	for sequence := range 256 {
		got, ok := Of(table.WithSequence(one, uint8(sequence)))
		require.True(t, ok)
		require.Equal(t, []string{"breakfast"}, got.Meals)
	}
	_, ok = Of(other)
	require.False(t, ok)
	// Another table's names take nobody's place: an owner goes back to the plan before, and a household has several feeders.
	require.NoError(t, Keep(other, Names{Meals: []string{"supper"}}))
	got, ok := Of(one)
	require.True(t, ok)
	require.Equal(t, []string{"breakfast"}, got.Meals)
	got, ok = Of(other)
	require.True(t, ok)
	require.Equal(t, []string{"supper"}, got.Meals)
	require.Error(t, Keep([]byte("no table"), Names{}))
	// What does not fit the table, is another table's of the same check, or can no longer be read, is not used.
	require.NoError(t, Keep(other, Names{Meals: []string{"a", "b"}}))
	_, ok = Of(other)
	require.False(t, ok)
	tables := filepath.Join(dir, "tables")
	text, err := os.ReadFile(file(tables, table.WithSequence(one, 0)))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(file(tables, table.WithSequence(other, 0)), text, 0o600))
	_, ok = Of(other)
	require.False(t, ok)
	require.NoError(t, os.WriteFile(file(tables, table.WithSequence(one, 0)), []byte("{"), 0o600))
	_, ok = Of(one)
	require.False(t, ok)
}

func TestOldestAreForgotten(t *testing.T) {
	dir := cache(t)
	for i := range most + 5 {
		require.NoError(t, Keep(tab(t, 20000+i), Names{Meals: []string{fmt.Sprint(i)}}))
	}
	entries, err := os.ReadDir(filepath.Join(dir, "tables"))
	require.NoError(t, err)
	require.LessOrEqual(t, len(entries), most)
	_, ok := Of(tab(t, 20000+most+4))
	require.True(t, ok)
}

func TestReadOnce(t *testing.T) {
	cache(t)
	require.Equal(t, []bool{false, false}, Read([]string{"a", "b"}))
	require.Equal(t, []bool{true, false, true}, Read([]string{"a", "c", "b"}))
	var many []string
	for i := range mostRead {
		many = append(many, fmt.Sprint(i))
	}
	Read(many)
	require.Equal(t, []bool{false}, Read([]string{"a"}), "the oldest are forgotten")
	t.Setenv("XDG_CACHE_HOME", "/dev/null/nowhere")
	require.Equal(t, []bool{false}, Read([]string{"b"}))
	require.Equal(t, []bool{false}, Read([]string{"b"}), "where nothing can be kept everything is new")
}
