package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// A warning is shown whole once, and from then on as a line; check always shows it, and so does a command that fails for it.
func TestWarningsAreFolded(t *testing.T) {
	t.Setenv("XDG_CACHE_HOME", t.TempDir())
	h := newHome(t, nil, nil)
	name := filepath.Join(t.TempDir(), "plan.toml")
	text := planBefore + "\n[[meal]]\nname = \"again\"\nportion = \"6 g\"\nat = [\"18:35\"]\n"
	require.NoError(t, os.WriteFile(name, []byte(text), 0o644))
	output := filepath.Join(t.TempDir(), "x.table")
	compile := func() string {
		_, errs := h.run(0, "", "compile", name, "-o", output)
		return errs
	}
	const whole, line = "is served on", ": 1 warning as before; mealtab check shows it\n"
	errs := compile()
	require.Contains(t, errs, whole)
	require.NotContains(t, errs, line)
	require.Equal(t, name+line, compile())
	_, errs = h.run(0, "", "upload", name, "--port", "desk", "--yes", "--rehearse", "0")
	require.Equal(t, name+line, errs)
	for range 2 {
		_, errs = h.run(0, "", "check", name)
		require.Contains(t, errs, whole)
	}
	_, errs = h.run(1, "", "compile", name, "-o", output, "--strict")
	require.Contains(t, errs, whole)
	require.NoError(t, os.WriteFile(name, []byte("# a comment\n"+text), 0o644))
	require.Equal(t, name+line, compile(), "elsewhere in the file it is the same")
	require.NoError(t, os.WriteFile(name, []byte(strings.Replace(text, "18:35", "18:36", 1)), 0o644))
	require.Contains(t, compile(), whole, "another one is another")
	t.Setenv("XDG_CACHE_HOME", t.TempDir()) // another computer
	require.Contains(t, compile(), whole)
}
