package check

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/profile"
	"mealtab/compiler/table"
	"mealtab/emulator/board"
	"mealtab/flasher/bootload"
)

const guide = "../GUIDE.md"

func readGuide(t *testing.T) string {
	t.Helper()
	text, err := os.ReadFile(guide)
	require.NoError(t, err)
	return string(text)
}

// fuseRow is a row of the guide's table of fuses; the bytes as it shows them.
type fuseRow struct {
	chip, clock, bootloader string
	bytes                   [3]byte // low, high, extended
}

func fuseRows(t *testing.T) (rows []fuseRow) {
	t.Helper()
	row := regexp.MustCompile(`(?m)^\| (ATmega\w+) \| (.*?) \| (.*?) \| (\w\w) \| (\w\w) \| (\w\w) \|$`)
	for _, m := range row.FindAllStringSubmatch(readGuide(t), -1) {
		r := fuseRow{chip: m[1], clock: m[2], bootloader: m[3]}
		for i := range r.bytes {
			b, err := strconv.ParseUint(m[4+i], 16, 8)
			require.NoError(t, err)
			r.bytes[i] = byte(b)
		}
		rows = append(rows, r)
	}
	return rows
}

// programmed names the bits that must read 0, as avr-libc does: FUSE_… masks, to be combined by &.
func (r fuseRow) programmed(t *testing.T) (low, high, extended []string) {
	t.Helper()
	bod, boot := &extended, &high
	if r.chip == "ATmega168P" { // the two chips have these the other way round
		bod, boot = &high, &extended
	}
	high = []string{"SPIEN", "EESAVE"}
	switch r.clock {
	case "16 MHz crystal":
		*bod = append(*bod, "BODLEVEL1", "BODLEVEL0") // 100: 4.3 V
	case "8 MHz inside":
		low = []string{"SUT0", "CKSEL3", "CKSEL2", "CKSEL0"} // CKSEL 0010, SUT 10
		*bod = append(*bod, "BODLEVEL1")                     // 101: 2.7 V
	case "8 MHz crystal":
		*bod = append(*bod, "BODLEVEL1")
	default:
		t.Fatalf("the clock %q is not known", r.clock)
	}
	// Section sizes in words by BOOTSZ 00, 01, 10, 11: 328P 2048, 1024, 512, 256; 168P 1024, 512, 256, 128 (data sheet, tables 27-7 and 27-10; from memory).
	switch words := map[string]int{"none": 0, "short, 512 bytes": 256, "older, 2 KiB": 1024}[r.bootloader]; {
	case words == 0:
		require.Equal(t, "none", r.bootloader)
		*boot = append(*boot, "BOOTSZ1", "BOOTSZ0") // as delivered
	default:
		steps := map[string]map[int][]string{
			"ATmega328P": {256: nil, 1024: {"BOOTSZ1"}},
			"ATmega168P": {256: {"BOOTSZ0"}, 1024: {"BOOTSZ1", "BOOTSZ0"}},
		}[r.chip]
		require.Contains(t, steps, words)
		*boot = append(append(*boot, "BOOTRST"), steps[words]...)
	}
	return low, high, extended
}

func fuseMask(bits []string) string {
	return strings.Join(append([]string{"0xFF"}, bits...), " & FUSE_")
}

// The bytes in the guide's table of fuses are those of avr-libc's names for the bits (avr/iom328p.h, avr/iom168p.h).
func TestGuideFuses(t *testing.T) {
	rows := fuseRows(t)
	require.Len(t, rows, 15, "three clocks of the 328P and two of the 168P, by three bootloaders")
	seen := map[string]bool{}
	for _, chip := range []string{"ATmega328P", "ATmega168P"} {
		var source strings.Builder
		var want []byte
		source.WriteString("#include <avr/io.h>\nconst unsigned char fuses[] = {\n")
		for _, r := range rows {
			if r.chip != chip {
				continue
			}
			key := r.chip + r.clock + r.bootloader
			require.False(t, seen[key], "twice: %s", key)
			seen[key] = true
			low, high, extended := r.programmed(t)
			fmt.Fprintf(&source, "%s,\n%s,\n%s,\n", fuseMask(low), fuseMask(high), fuseMask(extended))
			want = append(want, r.bytes[:]...)
		}
		source.WriteString("};\n")
		require.Equal(t, compiledBytes(t, strings.ToLower(chip), source.String()), want, chip)
	}
	require.Len(t, seen, len(rows))
}

// compiledBytes are the constants of a C source for a chip.
func compiledBytes(t *testing.T, mcu, source string) []byte {
	t.Helper()
	dir := t.TempDir()
	c, object, raw := filepath.Join(dir, "f.c"), filepath.Join(dir, "f.o"), filepath.Join(dir, "f.bin")
	require.NoError(t, os.WriteFile(c, []byte(source), 0o600))
	for _, command := range [][]string{
		{"avr-gcc", "-mmcu=" + mcu, "-c", "-o", object, c},
		{"avr-objcopy", "-O", "binary", "-j", ".rodata", object, raw},
	} {
		out, err := exec.Command(command[0], command[1:]...).CombinedOutput()
		require.NoError(t, err, "%s", out)
	}
	data, err := os.ReadFile(raw)
	require.NoError(t, err)
	return data
}

// `install` names the same fuses for a chip without bootloader.
func TestGuideFusesAreThoseOfInstall(t *testing.T) {
	rows := map[string]fuseRow{}
	for _, r := range fuseRows(t) {
		if r.bootloader == "none" {
			rows[r.chip+", "+r.clock] = r
		}
	}
	for board, row := range map[string]string{"m328-mains": "ATmega328P, 16 MHz crystal", "m328-cells": "ATmega328P, 8 MHz inside", "m168-mains": "ATmega168P, 16 MHz crystal"} {
		p, ok := profile.Named(board)
		require.True(t, ok, board)
		target := bootload.TargetFor(p)
		require.Equal(t, [3]byte{target.Low, target.High, target.Extended}, rows[row].bytes, board)
	}
	// The ATmega328PB: what the guide says beside the table.
	for clock, like := range map[string]string{"16 MHz": "m328-mains", "8 MHz": "m328-cells"} {
		p, err := profile.Parse("pb.toml", fmt.Appendf(nil, "like = %q\nmcu = \"atmega328pb\"\n", like))
		require.NoError(t, err)
		twin, _ := profile.Named(like)
		target, other := bootload.TargetFor(p), bootload.TargetFor(twin)
		require.Equal(t, []byte{other.Low, other.High}, []byte{target.Low, target.High})
		require.Contains(t, readGuide(t), fmt.Sprintf("%02X at %s", target.Extended, clock))
	}
}

// The table of what works names tests that there are.
func TestGuideNamesItsTests(t *testing.T) {
	_, works, found := strings.Cut(readGuide(t), "### Which board takes what")
	require.True(t, found)
	works, _, _ = strings.Cut(works, "\n## ")
	named := regexp.MustCompile("`(Test\\w+)`").FindAllStringSubmatch(works, -1)
	require.Greater(t, len(named), 10)
	var sources strings.Builder
	for _, pattern := range []string{"../check/*_test.go", "../../cmd/mealtab/install*_test.go", "../../flasher/bootload/*_test.go"} {
		files, err := filepath.Glob(pattern)
		require.NoError(t, err)
		for _, file := range files {
			text, err := os.ReadFile(file)
			require.NoError(t, err)
			sources.Write(text)
		}
	}
	for _, m := range named {
		require.Contains(t, sources.String(), "func "+m[1]+"(", m[1])
	}
}

// The bits that the guide works out make the bytes beside them.
func TestGuideFuseBits(t *testing.T) {
	found := regexp.MustCompile(`\| ([01]{4}) ([01]{4}) = ([0-9A-F]{2}) \|`).FindAllStringSubmatch(readGuide(t), -1)
	require.Len(t, found, 6)
	for _, m := range found {
		v, err := strconv.ParseUint(m[1]+m[2], 2, 8)
		require.NoError(t, err)
		require.Equal(t, m[3], fmt.Sprintf("%02X", v))
	}
}

// Every file that the guide and the wiring pages point to is there, and every heading too.
func TestGuideLinks(t *testing.T) {
	pages, err := filepath.Glob("../boards/*.md")
	require.NoError(t, err)
	for _, page := range append(pages, guide) {
		text, err := os.ReadFile(page)
		require.NoError(t, err)
		for _, m := range regexp.MustCompile(`\]\(([^)#]*)(#[^)]*)?\)`).FindAllStringSubmatch(string(text), -1) {
			at := page
			if m[1] != "" {
				at = filepath.Join(filepath.Dir(page), m[1])
			}
			target, err := os.Stat(at)
			require.NoError(t, err, "%s points to %s", page, m[1])
			if m[2] != "" && !target.IsDir() {
				require.Contains(t, headings(t, at), strings.TrimPrefix(m[2], "#"), "%s points to %s", page, m[0])
			}
		}
	}
}

// headings are the anchors that viewers make of a page's headings: small letters, dashes for spaces, no other marks.
func headings(t *testing.T, page string) (anchors []string) {
	t.Helper()
	text, err := os.ReadFile(page)
	require.NoError(t, err)
	marks := regexp.MustCompile(`[^\p{L}\p{N} -]`)
	for _, m := range regexp.MustCompile(`(?m)^#+ (.*)$`).FindAllStringSubmatch(string(text), -1) {
		anchors = append(anchors, strings.ReplaceAll(marks.ReplaceAllString(strings.ToLower(m[1]), ""), " ", "-"))
	}
	return anchors
}

// A part that a drawing names stands in the guide's list of parts, as itself or within a range such as "R7, R8" or "C5 to C9".
func TestGuideNamesEveryPart(t *testing.T) {
	_, parts, found := strings.Cut(readGuide(t), "## 2. Parts")
	require.True(t, found)
	parts, _, _ = strings.Cut(parts, "## 3.")
	for _, m := range regexp.MustCompile(`\b([CRS])(\d+) to [CRS](\d+)\b`).FindAllStringSubmatch(parts, -1) {
		from, _ := strconv.Atoi(m[2])
		to, _ := strconv.Atoi(m[3])
		for n := from; n <= to; n++ {
			parts += fmt.Sprintf(" %s%d", m[1], n)
		}
	}
	for _, drawing := range []string{"wall.svg", "cells.svg"} {
		text, err := os.ReadFile(filepath.Join("..", "guide", drawing))
		require.NoError(t, err)
		named := regexp.MustCompile(`>([A-Z]{1,2}\d+)\b[^<]*</text>`).FindAllStringSubmatch(string(text), -1)
		require.Greater(t, len(named), 30, drawing)
		for _, m := range named {
			if pin := regexp.MustCompile(`^P[BCD]\d$`); !pin.MatchString(m[1]) {
				require.Regexp(t, `\b`+m[1]+`\b`, parts, "%s shows %s", drawing, m[1])
			}
		}
	}
}

// The lights that the guide tells a builder to expect as the board grows: no clock yet, a clock that was never set, no table.
func TestGuideLightsOfAssembly(t *testing.T) {
	for _, p := range profile.Boards() {
		for _, step := range []struct {
			name    string
			prepare func(b *board.Board)
			flashes int
		}{
			{"no clock yet", func(b *board.Board) { b.Silence(true) }, 2},
			{"never set", func(*board.Board) {}, 1},
			{"no table", func(b *board.Board) { b.SetClock(boardStart) }, 3},
		} {
			t.Run(p.Name+", "+step.name, func(t *testing.T) {
				b := newBoard(t, p.Name, 0)
				step.prepare(b)
				require.Equal(t, step.flashes, flashesOfARound(b))
			})
		}
	}
}

// flashesOfARound switches a board on and counts the flashes between two pauses of seconds.
func flashesOfARound(b *board.Board) (flashes int) {
	var rounds []int
	var last time.Time
	b.Observe(func(e board.Event) {
		if e.Kind != board.Light || e.Value != 1 {
			return
		}
		if b.Now().Sub(last) > 3*time.Second {
			rounds = append(rounds, 0)
		}
		rounds[len(rounds)-1]++
		last = b.Now()
	})
	b.PowerOn()
	b.Run(time.Minute)
	if len(rounds) < 4 {
		return 0
	}
	return rounds[len(rounds)-2] // the last may not be whole
}

// pinout is the 28-pin DIP of both chips (data sheet, figure 1-1; from memory).
var pinout = map[string]string{
	"PC6": "1", "PD0": "2", "PD1": "3", "PD2": "4", "PD3": "5", "PD4": "6", "VCC": "7", "GND": "8", "XTAL1": "9", "XTAL2": "10", "PD5": "11", "PD6": "12", "PD7": "13",
	"PB0": "14", "PB1": "15", "PB2": "16", "PB3": "17", "PB4": "18", "PB5": "19", "AVCC": "20", "AREF": "21", "PC0": "23", "PC1": "24", "PC2": "25", "PC3": "26", "PC4": "27", "PC5": "28",
	"RESET": "1",
}

// The drawings number the chip's pins rightly, and show every pin that the guide's table of nets names and the firmware drives.
func TestGuidePins(t *testing.T) {
	_, nets, found := strings.Cut(readGuide(t), "| net | pin |")
	require.True(t, found)
	nets, _, _ = strings.Cut(nets, "\n\n")
	for name, pin := range firmwarePins(t) {
		require.Regexp(t, `(?m)^\| .*\b`+name+`\b.* \| .*\b`+pin+`\b`, nets)
	}
	for _, drawing := range []string{"wall.svg", "cells.svg"} {
		text, err := os.ReadFile(filepath.Join("..", "guide", drawing))
		require.NoError(t, err)
		shown := map[string]string{}
		for _, m := range regexp.MustCompile(`>(P[BCD]\d|VCC|AVCC|GND|AREF|RESET|XTAL[12])[^<]*</text>\n<text[^>]* class="n"[^>]*>(\d+)</text>`).FindAllStringSubmatch(string(text), -1) {
			require.Equal(t, pinout[m[1]], m[2], "%s, %s", drawing, m[1])
			shown[m[1]] = m[2]
		}
		for _, pin := range regexp.MustCompile(`\bP[BCD]\d\b`).FindAllString(nets, -1) {
			require.True(t, shown[pin] != "" || pin == "PC6" && shown["RESET"] != "", "%s does not show %s", drawing, pin)
		}
	}
}

// firmwarePins are the pins of the boards of the template, which are all wired alike, by the guide's names of nets.
func firmwarePins(t *testing.T) map[string]string {
	t.Helper()
	boards := profile.Boards()
	for _, b := range boards {
		require.Equal(t, boards[0].Pins, b.Pins, "%s and %s", boards[0].Name, b.Name)
	}
	p := boards[0].Pins
	return map[string]string{
		"SERVO": string(p.ServoPulse), "SERVO_ON": string(p.ServoSupply), "INDEX": string(p.IndexSwitch), "BARRIER": string(p.LightBarrier), "LED": string(p.LED),
		"SDA": string(p.SDA), "SCL": string(p.SCL), "RXD": string(p.RXD), "TXD": string(p.TXD), "CLOCK_INT": string(p.ClockInt),
		"FEED": string(p.ButtonFeed), "PORTION": string(p.ButtonPortion), "PLAN": string(p.ButtonPlan),
	}
}

// The owner's page says of each fault what the program says: which flashes show it and what to do.
func TestReadmeSaysTheRemedies(t *testing.T) {
	text, err := os.ReadFile("../README.md")
	require.NoError(t, err)
	row := regexp.MustCompile(`(?m)^\| (\d|long, \d) \| .* \| (.*) \|$`)
	rows := row.FindAllStringSubmatch(string(text), -1)
	require.Len(t, rows, len(table.FaultBits()))
	for i, m := range rows {
		short := i + 1
		if i >= table.ShortFlashes {
			short -= table.ShortFlashes
		}
		require.Equal(t, i >= table.ShortFlashes, strings.HasPrefix(m[1], "long"), m[0])
		require.Equal(t, strconv.Itoa(short), strings.TrimPrefix(m[1], "long, "), m[0])
		require.Equal(t, table.Remedy(i), strings.NewReplacer("**", "", "`", "").Replace(m[2]))
	}
}
