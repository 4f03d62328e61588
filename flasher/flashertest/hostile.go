package flashertest

import (
	"fmt"
	"os/exec"
	"path/filepath"
	"testing"
)

// Hostile throws so many frames at the firmware's decoder and messages, built with the sanitizers, and returns what it counted. It fails
// where a frame that is not good is obeyed, or one changes the bank in force.
func Hostile(t testing.TB, frames, seed int) string {
	t.Helper()
	root := filepath.Join(Root(t), "firmware-template")
	src := filepath.Join(root, "src")
	program := filepath.Join(t.TempDir(), "hostile")
	args := []string{"-std=c99", "-O2", "-g", "-Wall", "-Wextra", "-Werror", "-fsanitize=address,undefined", "-fno-sanitize-recover=all",
		"-DEEPROM_SIZE=1024", "-I" + src, "-I" + filepath.Join(root, "host"), "-o", program,
		filepath.Join(Root(t), "flasher", "flashertest", "testdata", "hostile.c"), filepath.Join(root, "host", "line_stubs.c")}
	for _, name := range []string{"cursor", "calendar", "zone", "rules", "times", "table", "table_open", "crc", "journal", "mark", "bytes", "history", "feeder", "servings", "limits", "banks", "faults", "timekeeping", "line"} {
		args = append(args, filepath.Join(src, name+".c"))
	}
	if out, err := exec.Command("gcc", args...).CombinedOutput(); err != nil {
		t.Fatalf("gcc: %v\n%s", err, out)
	}
	out, err := exec.Command(program, fmt.Sprint(frames), fmt.Sprint(seed)).CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	return string(out)
}
