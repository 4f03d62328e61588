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
		for _, forbidden := range []string{"compiler/lower", "compiler/table", "compiler/prove", "compiler/recur/", "emulator", "flasher", "cmd"} {
			require.False(t, strings.HasPrefix(dep, "mealtab/"+forbidden), "recur imports %s", dep)
		}
	}
}
