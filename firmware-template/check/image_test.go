package check

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"mealtab/firmware-template/image"
)

// The committed images are what the sources build, byte for byte.
func TestImagesAreCurrent(t *testing.T) {
	out := filepath.Join(built, "image")
	if text, err := exec.Command("make", "-s", "-C", "..", "WORK="+built, "OUT="+out, "all").CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	files, err := image.FS.ReadDir(".")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		want, err := os.ReadFile(filepath.Join(out, f.Name()))
		if err != nil {
			t.Errorf("%s is committed but not built: %v", f.Name(), err)
			continue
		}
		got, _ := image.FS.ReadFile(f.Name())
		if !bytes.Equal(got, want) {
			t.Errorf("%s is stale; run: make -C firmware-template", f.Name())
		}
	}
	if sizes, err := image.FS.ReadFile("BUILD"); err == nil {
		t.Logf("\n%s", sizes)
	}
}
