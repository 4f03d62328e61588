package check

import (
	"bufio"
	"bytes"
	"fmt"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/table"
	"mealtab/emulator/avr"
	"mealtab/emulator/board"
	"mealtab/flasher"
	"mealtab/flasher/flashertest"
)

// The hobby editor's own description of how it builds a sketch, and the sources that it adds: Debian packages them.
const platform = "/usr/share/arduino/hardware/arduino/avr"

// properties are lines key=value, as in platform.txt and boards.txt.
type properties map[string]string

func readProperties(t *testing.T, name string) properties {
	t.Helper()
	f, err := os.Open(filepath.Join(platform, name))
	require.NoError(t, err)
	defer f.Close()
	p := properties{}
	lines := bufio.NewScanner(f)
	for lines.Scan() {
		if key, value, found := strings.Cut(lines.Text(), "="); found && !strings.HasPrefix(key, "#") {
			p[key] = value
		}
	}
	require.NoError(t, lines.Err())
	return p
}

var reference = regexp.MustCompile(`\{[^{}]*\}`)

// expand puts values for the names in braces; one that is not set is empty.
func (p properties) expand(text string) string {
	for reference.MatchString(text) {
		text = reference.ReplaceAllStringFunc(text, func(name string) string { return p[name[1:len(name)-1]] })
	}
	return text
}

// below is what stands under a prefix, without it.
func (p properties) below(prefix string) properties {
	sub := properties{}
	for key, value := range p {
		if rest, found := strings.CutPrefix(key, prefix); found {
			sub[rest] = value
		}
	}
	return sub
}

// boardWith finds a board that is offered with a chip at a clock, and returns its properties.
func boardWith(t *testing.T, mcu, hz string) properties {
	t.Helper()
	all := readProperties(t, "boards.txt")
	for _, key := range slices.Sorted(maps.Keys(all)) {
		prefix, found := strings.CutSuffix(key, "build.mcu")
		name, _, isMenu := strings.Cut(key, ".menu.")
		if !found || !isMenu || all[key] != mcu || all[prefix+"build.f_cpu"] != hz {
			continue
		}
		p := all.below(name + ".")
		maps.Copy(p, all.below(prefix))
		return p
	}
	t.Fatalf("no board is offered with a %s at %s", mcu, hz)
	return nil
}

// sketch builds firmware-template as the editor does.
type sketch struct {
	properties
	t   *testing.T
	dir string
}

func newSketch(t *testing.T, mcu, hz string) *sketch {
	t.Helper()
	s := &sketch{readProperties(t, "platform.txt"), t, t.TempDir()}
	chosen := boardWith(t, mcu, hz)
	maps.Copy(s.properties, chosen)
	core, variant := filepath.Join(platform, "cores", chosen["build.core"]), filepath.Join(platform, "variants", chosen["build.variant"])
	maps.Copy(s.properties, properties{
		"build.arch": "AVR", "build.path": s.dir, "build.project_name": "sketch", "archive_file": "core.a",
		"runtime.ide.version": "10819", "includes": fmt.Sprintf("-I%s -I%s", core, variant), "compiler.warning_flags": "-Wall -Wextra",
		// The packaged core wants a newer C++ than the packaged compiler's, which lacks this name of C99's.
		"compiler.cpp.extra_flags": "-DDECIMAL_DIG=__DECIMAL_DIG__",
	})
	return s
}

// run expands a recipe with further values and runs it.
func (s *sketch) run(recipe string, more properties) (string, error) {
	p := maps.Clone(s.properties)
	maps.Copy(p, more)
	line := p.expand(p[recipe])
	require.NotEmpty(s.t, line, recipe)
	out, err := exec.Command("sh", "-c", line).CombinedOutput()
	return string(out), err
}

// object compiles one file.
func (s *sketch) object(source string) string {
	s.t.Helper()
	object := filepath.Join(s.dir, filepath.Base(source)+".o")
	kind := strings.ToLower(strings.TrimPrefix(filepath.Ext(source), "."))
	if kind == "s" {
		kind = "S"
	}
	out, err := s.run("recipe."+kind+".o.pattern", properties{"source_file": source, "object_file": object})
	require.NoError(s.t, err, "%s", out)
	if !strings.HasPrefix(source, platform) {
		require.Empty(s.t, out, "warnings")
	}
	return object
}

// build compiles the sketch's files and the core's, and links them. The error is the linker's.
func (s *sketch) build() (elf string, err error) {
	s.t.Helper()
	// A sketch is C++, and begins by including the core.
	text, err := os.ReadFile("../firmware-template.ino")
	require.NoError(s.t, err)
	main := filepath.Join(s.dir, "sketch.ino.cpp")
	require.NoError(s.t, os.WriteFile(main, append([]byte("#include <Arduino.h>\n"), text...), 0o644))
	chip, err := os.ReadFile("../src/chip.h") // the editor copies src beside it
	require.NoError(s.t, err)
	require.NoError(s.t, os.MkdirAll(filepath.Join(s.dir, "src"), 0o755))
	require.NoError(s.t, os.WriteFile(filepath.Join(s.dir, "src", "chip.h"), chip, 0o644))
	own, err := filepath.Glob("../src/*.[cS]")
	require.NoError(s.t, err)
	var objects []string
	for _, source := range append([]string{main}, own...) {
		objects = append(objects, strconv.Quote(s.object(source)))
	}
	core, err := filepath.Glob(filepath.Join(platform, "cores", s.properties["build.core"], "*.[cS]*"))
	require.NoError(s.t, err)
	for _, source := range core {
		out, err := s.run("recipe.ar.pattern", properties{"archive_file_path": filepath.Join(s.dir, "core.a"), "object_file": s.object(source)})
		require.NoError(s.t, err, "%s", out)
	}
	out, err := s.run("recipe.c.combine.pattern", properties{"object_files": strings.Join(objects, " ")})
	if err != nil {
		return "", fmt.Errorf("%w: %s", err, out)
	}
	return filepath.Join(s.dir, "sketch.elf"), nil
}

// size counts the flash as the editor does.
func (s *sketch) size(elf string) (bytes int) {
	s.t.Helper()
	out, err := s.run("recipe.size.pattern", nil)
	require.NoError(s.t, err, "%s", out)
	for _, m := range regexp.MustCompile("(?m)"+s.properties["recipe.size.regex"]).FindAllStringSubmatch(out, -1) {
		n, err := strconv.Atoi(m[1])
		require.NoError(s.t, err)
		bytes += n
	}
	return bytes
}

// firmware-template opens as a sketch: built with the switches and the sources that the editor's platform file names, it fits, answers, and
// keeps a table. It has not the build's own long list of switches, so it is larger, and too large for the smallest chip.
func TestSketch(t *testing.T) {
	for _, c := range []struct {
		mcu, hz, board string
		fits           bool
	}{
		{"atmega328p", "16000000L", "m328-mains", true},
		{"atmega328p", "8000000L", "m328-cells", true},
		{"atmega168", "16000000L", "m168-mains", false},
	} {
		t.Run(c.board, func(t *testing.T) {
			t.Parallel()
			s := newSketch(t, c.mcu, c.hz)
			most, err := strconv.Atoi(s.properties["upload.maximum_size"])
			require.NoError(t, err)
			elf, err := s.build()
			if !c.fits {
				if err != nil {
					require.ErrorContains(t, err, "will not fit in region")
				} else if size := s.size(elf); size <= most {
					t.Fatalf("%d bytes: the sketch fits the %s now; say so here, in firmware-template.ino, README.md and boards", size, c.mcu)
				}
				return
			}
			require.NoError(t, err)
			size := s.size(elf)
			t.Logf("%d of %d bytes", size, most)
			require.LessOrEqual(t, size, most)
			keepsTable(t, c.board, elf)
		})
	}
}

// keepsTable runs a build on the emulated board, uploads a table and asks for the next serving.
func keepsTable(t *testing.T, name, elf string) {
	t.Helper()
	src, err := os.ReadFile(elf)
	require.NoError(t, err)
	img, err := avr.ReadELF(bytes.NewReader(src))
	require.NoError(t, err)
	e := flashertest.New(t, name, nil, func(c *board.Config) { c.Firmware = img })
	f, err := flasher.Connect(e.Link(name))
	require.NoError(t, err)
	require.Equal(t, name, f.BoardName())
	st, err := f.Status()
	require.NoError(t, err)
	require.NoError(t, f.Upload(flashertest.Table(t, name, []uint16{7 * 60, 18*60 + 30}, 40), st, nil))
	now := table.MinuteOf(e.Board.Now().Unix())
	due, err := f.Next(now, now+table.MinutesPerDay, 1)
	require.NoError(t, err)
	require.Len(t, due, 1)
	require.Equal(t, table.Minute(18*60+30), due[0].At%table.MinutesPerDay) // flashertest.Start is noon
	require.Empty(t, e.Broken)
}
