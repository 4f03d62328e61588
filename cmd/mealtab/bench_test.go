package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// BenchmarkProcess runs the command as a process: compiling the built-in plan with its proof should take less than three
// times what it takes to print the help, which is mostly the start of the program.
func BenchmarkProcess(b *testing.B) {
	dir := b.TempDir()
	binary, plan := filepath.Join(dir, "mealtab"), filepath.Join(dir, "demo.toml")
	out, err := exec.Command("go", "build", "-o", binary, ".").CombinedOutput()
	require.NoError(b, err, "%s", out)
	require.NoError(b, os.WriteFile(plan, demoPlan, 0o644))
	for _, c := range []struct {
		name string
		args []string
	}{
		{"reference=help", []string{"--help"}},
		{"compile", []string{"compile", plan, "-o", filepath.Join(dir, "demo.table")}},
		{"check", []string{"check", plan}},
		{"demo", []string{"demo"}},
	} {
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				require.NoError(b, exec.Command(binary, c.args...).Run())
			}
		})
	}
}
