package main

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

const smallScenario = `name = "Breakfast"
plan = "plan.toml"
start = 2027-06-01T06:30:00
run = "1h"
[[expect]]
served = [{ at = 2027-06-01T07:00:00, pockets = 3 }]
`

// writers are all commands that write a file that they are given, and the kinds of files that they may write over: those that they write
// themselves.
var writers = []struct {
	name  string
	args  []string
	ext   string
	alike []string
}{
	{"compile", []string{"compile", "plan.toml", "-o"}, ".table", []string{"table", "hex"}},
	{"compile hex", []string{"compile", "plan.toml", "--format", "hex", "-o"}, ".hex", []string{"table", "hex"}},
	{"chart svg", []string{"chart", "plan.toml", "-o"}, ".svg", []string{"svg"}},
	{"chart png", []string{"chart", "plan.toml", "--width", "320", "--scale", "1", "-o"}, ".png", []string{"png"}},
	{"install", []string{"install", "--board", "m328-mains", "-o"}, ".hex", []string{"hex"}},
	{"pull", []string{"pull", "--port", "desk", "-o"}, ".toml", nil},
	{"pull table", []string{"pull", "--port", "desk", "--table", "-o"}, ".table", []string{"table", "hex"}},
	{"log", []string{"emulate", "--scenario", "breakfast.toml", "--log"}, ".txt", []string{"log"}},
	{"csv", []string{"emulate", "--scenario", "breakfast.toml", "--csv"}, ".csv", []string{"csv"}},
	{"vcd", []string{"emulate", "--scenario", "breakfast.toml", "--vcd"}, ".vcd", []string{"vcd"}},
}

// Every command that writes, over every kind of file that may be there: it goes over files of its own kind and over empty ones, over nothing
// else but with --force; the mode stays, a symbolic link stays one, and what is refused stays as it was, to the byte.
func TestWhatIsWrittenOver(t *testing.T) {
	t.Chdir(t.TempDir())
	require.NoError(t, os.WriteFile("plan.toml", []byte(planBefore), 0o644))
	require.NoError(t, os.WriteFile("breakfast.toml", []byte(smallScenario), 0o644))
	_, tab := planFile(t, planBefore)
	h := newHome(t, tab, nil)
	there := map[string][]byte{"plan": []byte(planAfter), "scenario": []byte(smallScenario), "text": []byte("Juniper hates the vet.\n"), "bytes": {0, 1, 2, 0xFF}, "empty": {}}
	for _, w := range writers {
		h.run(0, "", append(w.args, "new"+w.ext)...)
		data, err := os.ReadFile("new" + w.ext)
		require.NoError(t, err)
		there[map[string]string{"compile": "table", "compile hex": "hex", "chart svg": "svg", "chart png": "png", "log": "log", "csv": "csv", "vcd": "vcd", "pull": "pulled"}[w.name]] = data
	}
	delete(there, "") // those of kinds that another writes too
	require.Len(t, there, 5+8)
	for _, w := range writers {
		for what, data := range there {
			t.Run(w.name+" over "+what, func(t *testing.T) {
				dir := t.TempDir()
				name, link := filepath.Join(dir, "there"+w.ext), filepath.Join(dir, "link"+w.ext)
				require.NoError(t, os.WriteFile(name, data, 0o600))
				require.NoError(t, os.Symlink("there"+w.ext, link))
				may := what == "empty"
				for _, kind := range w.alike {
					may = may || kind == what
				}
				want := 1
				if may {
					want = 0
				}
				_, errs := h.run(want, "", append(w.args, link)...)
				held, err := os.ReadFile(name)
				require.NoError(t, err)
				if !may {
					require.Contains(t, errs, link+" is there already")
					require.Contains(t, errs, "--force")
					require.True(t, bytes.Equal(data, held))
				}
				if what == "plan" {
					h.run(0, "", append(w.args, link, "--force")...)
				}
				info, err := os.Lstat(link)
				require.NoError(t, err)
				require.NotZero(t, info.Mode()&os.ModeSymlink)
				info, err = os.Stat(name)
				require.NoError(t, err)
				require.Equal(t, os.FileMode(0o600), info.Mode().Perm())
				entries, err := os.ReadDir(dir)
				require.NoError(t, err)
				require.Len(t, entries, 2)
			})
		}
	}
}

// What an output is made from is not written over even with --force, by whatever name.
func TestSourceIsNotWrittenOver(t *testing.T) {
	t.Chdir(t.TempDir())
	require.NoError(t, os.WriteFile("plan.toml", []byte(planBefore), 0o644))
	require.NoError(t, os.WriteFile("breakfast.toml", []byte(smallScenario), 0o644))
	require.NoError(t, os.Symlink("plan.toml", "link.svg"))
	require.NoError(t, os.Link("breakfast.toml", "hard.csv"))
	h := newHome(t, nil, nil)
	for _, args := range [][]string{
		{"compile", "plan.toml", "-o", "./plan.toml", "--force"},
		{"chart", "plan.toml", "-o", "link.svg", "--force"},
		{"emulate", "--scenario", "breakfast.toml", "--csv", "hard.csv", "--force"},
	} {
		_, errs := h.run(1, "", args...)
		require.Contains(t, errs, "is what the output is made from, and would be lost")
	}
	h.run(2, "", "emulate", "--scenario", "breakfast.toml", "--csv", "x", "--vcd", "./x")
}

// A file that is not there yet gets the mode that the system gives new files; a link to nowhere makes the file that it names; a file that
// may not be written to is not.
func TestWriteKeepsWhatAFileIs(t *testing.T) {
	dir := t.TempDir()
	a := newApp(nil, &bytes.Buffer{}, &bytes.Buffer{})
	plainFile := filepath.Join(dir, "plain")
	require.NoError(t, os.WriteFile(plainFile, nil, 0o666))
	usual, err := os.Stat(plainFile)
	require.NoError(t, err)
	require.NoError(t, os.Symlink("new", filepath.Join(dir, "link")))
	require.NoError(t, a.write(filepath.Join(dir, "link"), []byte("x")))
	got, err := os.Lstat(filepath.Join(dir, "new"))
	require.NoError(t, err)
	require.Equal(t, usual.Mode(), got.Mode())
	require.NoError(t, os.Chmod(plainFile, 0o444))
	require.EqualError(t, a.write(plainFile, []byte("x")), "cannot write "+plainFile+": it may not be written to (its mode has no w)")
	require.NoError(t, os.Symlink("round", filepath.Join(dir, "round")))
	require.ErrorContains(t, a.write(filepath.Join(dir, "round"), []byte("x")), "too many symbolic links")
}
