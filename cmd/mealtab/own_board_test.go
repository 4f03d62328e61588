package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// What a builder types: a description, make, and the commands that take a board.
func TestBoardOfOnesOwn(t *testing.T) {
	dir := t.TempDir()
	description, err := os.ReadFile("../../testdata/boards/moved.toml")
	require.NoError(t, err)
	at := func(name string, text []byte) string {
		file := filepath.Join(dir, name)
		if text != nil {
			require.NoError(t, os.WriteFile(file, text, 0o644))
		}
		return file
	}
	board := at("mine.toml", description)
	plan := at("plan.toml", []byte("plan = \"Juniper\"\nzone = \"Europe/Lisbon\"\n[[meal]]\nname = \"breakfast\"\nportion = \"3 pockets\"\nat = [\"07:00\", \"18:30\"]\n"))
	hex, table := at("mine.hex", nil), at("mine.table", nil)

	build := exec.Command("make", "-s", "-C", "../../firmware-template", "WORK="+dir, "BOARD="+board)
	out, err := build.CombinedOutput()
	require.NoError(t, err, "%s", out)

	run := func(want int, args ...string) string {
		t.Helper()
		var said, complained bytes.Buffer
		code := newApp(nil, &said, &complained).execute(args)
		require.Equal(t, want, code, complained.String())
		return said.String() + complained.String()
	}
	require.Contains(t, run(0, "rehearse", plan, "--board", board, "--firmware", hex, "--years", "1"), "servings served as replayed")
	require.Contains(t, run(0, "compile", plan, "--board", board, "-o", table), "for moved")
	require.Contains(t, run(0, "rehearse", table, "--board", board, "--firmware", hex, "--years", "1"), "servings served as replayed")
	require.Contains(t, run(1, "rehearse", table, "--firmware", hex), "the table is for board 200, which is not one of the firmware template: say with --board where it is described")
	require.Contains(t, run(1, "rehearse", plan, "--board", board), "this program carries no firmware for moved: build it with make -C firmware-template BOARD="+board+", and name the image with --firmware")
	require.Contains(t, run(1, "rehearse", table, "--board", "m328-mains"), "the table is for board 200, not for m328-mains")
	require.Contains(t, run(2, "rehearse", plan, "--board", "m328"), `--board: no board profile "m328"`)
	require.Contains(t, run(0, "install", "--board", board, "--firmware", hex, "-o", filepath.Join(dir, "copy.hex")), "")
	written, err := os.ReadFile(filepath.Join(dir, "copy.hex"))
	require.NoError(t, err)
	original, err := os.ReadFile(hex)
	require.NoError(t, err)
	require.Equal(t, original, written)
	bad := at("bad.toml", []byte("like = \"m328-mains\"\nname = \"bad\"\n\n[pins]\nled = \"PD3\"\n"))
	require.Contains(t, run(1, "rehearse", plan, "--board", bad), bad+`:5:1: pins.button_feed = "PD3" is the pin of led already: each needs one of its own`)
	require.Contains(t, run(0, "battery", plan, "--board", "m328-cells", "--computed"), "board m328-cells")
	require.Contains(t, run(1, "battery", plan, "--board", board, "--firmware", hex), "moved runs on a wall supply")
}
