package recur

import (
	"os/exec"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestArrows: the referee must not share a mistake with what it judges, so it imports nothing that lowers or encodes.
func TestArrows(t *testing.T) {
	out, err := exec.Command("go", "list", "-deps", ".").CombinedOutput()
	require.NoError(t, err, "%s", out)
	for _, dep := range strings.Fields(string(out)) {
		ours, is := strings.CutPrefix(dep, "mealtab/")
		allowed := strings.HasPrefix(ours, "compiler/plan") || strings.HasPrefix(ours, "compiler/zone") || ours == "compiler/recur"
		require.True(t, !is || allowed, "recur imports %s", dep)
	}
}
