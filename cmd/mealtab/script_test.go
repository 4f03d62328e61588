//go:build !race

// What the race detector would see here it sees in the tests of the parts; under it the processes take two minutes.

package main

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

// TestScripts runs the command as a user does; testdata/script/README.md says how.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 filepath.Join("..", "..", "testdata", "script"),
		UpdateScripts:       *update,
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		Cmds:                map[string]func(*testscript.TestScript, bool, []string){"code": code},
		Setup: func(env *testscript.Env) error {
			env.Setenv("XDG_CACHE_HOME", filepath.Join(env.WorkDir, "cache")) // no emulated board but the script's own is on the list of ports
			env.Setenv("NO_COLOR", "")                                        // the scripts see to it themselves that there is no terminal
			for name, dir := range map[string]string{"zoneinfo": "script/zoneinfo", "old": "zone/2025c"} {
				from := filepath.Join("..", "..", "testdata", filepath.FromSlash(dir))
				if err := os.CopyFS(filepath.Join(env.WorkDir, name), os.DirFS(from)); err != nil {
					return err
				}
			}
			return nil
		},
	})
}

// code runs a command and wants an exit code: "code 2 mealtab check".
func code(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: code N command [argument…]")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	err = ts.Exec(args[1], args[2:]...)
	got := 0
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		got = exit.ExitCode()
	} else {
		ts.Check(err)
	}
	if got != want {
		ts.Fatalf("exit code %d, want %d", got, want)
	}
}
