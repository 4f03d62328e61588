package reader_test

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/plan"
	"mealtab/compiler/table"
)

var update = flag.Bool("update", false, "rewrite the expected diagnostics")

// TestBadPlans compares whole pictures: headline, source line, carets, hint. What is expected stands beside each input
// in a file ending in .want.
func TestBadPlans(t *testing.T) {
	dir := filepath.Join("..", "..", "testdata", "plans-bad")
	errors := 0
	for _, file := range inputs(t, dir) {
		src, err := os.ReadFile(file)
		require.NoError(t, err)
		p, ds := checked.Parse(filepath.Base(file), src)
		require.NotEmpty(t, ds, "%s has nothing wrong", file)
		assert.Equal(t, ds.HasErrors(), p == nil, file)
		assert.Equal(t, strings.Contains(file, "warn"), p != nil, "files named warn give warnings only: %s", file)
		for _, d := range ds {
			if d.Severity == plan.Error {
				errors++
			}
		}
		var got strings.Builder
		require.NoError(t, plan.Render(&got, ds, false))
		want := file + ".want"
		if *update {
			require.NoError(t, os.WriteFile(want, []byte(got.String()), 0o644))
			continue
		}
		expected, err := os.ReadFile(want)
		require.NoError(t, err, "run go test ./compiler/reader -run TestBadPlans -update and read the new file")
		assert.Equal(t, string(expected), got.String(), file)
	}
	assert.GreaterOrEqual(t, errors, 200, "errors in the plans")
}

// inputs lists the plans of a directory.
func inputs(t *testing.T, dir string) []string {
	var files []string
	for _, pattern := range []string{"*.toml", "*.ics"} {
		found, err := filepath.Glob(filepath.Join(dir, pattern))
		require.NoError(t, err)
		files = append(files, found...)
	}
	require.NotEmpty(t, files)
	return files
}

// One meal more than a table holds is named at its place.
func TestTooManyMeals(t *testing.T) {
	text := "zone = \"Europe/Lisbon\"\n"
	for i := range table.MaxMeals + 1 {
		text += fmt.Sprintf("[[meal]]\nname = \"meal %d\"\nportion = \"1 pocket\"\nat = [\"%02d:%02d\"]\n", i, i/4, i%4*15)
	}
	_, ds := checked.Parse("p.toml", []byte(text))
	var got strings.Builder
	require.NoError(t, plan.Render(&got, ds, false))
	assert.Equal(t, `p.toml:258:3: error: this is meal 65; a table holds 64
  258 | [[meal]]
      |   ^^^^
      hint: meals that share a portion can be one meal with several times in at
`, got.String())
}
