package check

import (
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/flasher/bootload"
)

// compiles tries one file for a chip, without code.
func compiles(t *testing.T, file string, command ...string) (string, bool) {
	t.Helper()
	out, err := exec.Command(command[0], append(command[1:], "-fsyntax-only", file)...).CombinedOutput()
	return string(out), err == nil
}

var firstError = regexp.MustCompile(`(?m)^.*error: (.*)$`)

// A sketch for a board with another chip ends before anything else is compiled, with one error, which names the chips that the firmware is for:
// those that install knows. An AVR or not (the host's compiler stands for any other) makes no difference.
func TestSketchNamesItsChips(t *testing.T) {
	const ino = "../firmware-template.ino"
	for _, mcu := range []string{"atmega328p", "atmega328", "atmega168p", "atmega168"} {
		out, good := compiles(t, ino, "avr-gcc", "-x", "c++", "-mmcu="+mcu)
		require.True(t, good, "%s", out)
		require.Empty(t, out)
	}
	others := [][]string{{"g++", "-x", "c++"}}
	for _, mcu := range []string{"atmega32u4", "atmega2560", "atmega1284p", "atmega88p", "atmega8", "attiny85"} {
		others = append(others, []string{"avr-gcc", "-x", "c++", "-mmcu=" + mcu})
	}
	for _, command := range others {
		out, good := compiles(t, ino, command...)
		require.False(t, good, command)
		errors := firstError.FindAllStringSubmatch(out, -1)
		require.Len(t, errors, 1, out)
		require.Contains(t, errors[0][1], "#error")
		for _, c := range bootload.Chips() {
			require.Regexp(t, `\b`+c.Name+`\b`, errors[0][1])
		}
	}
	// avr-libc 2.0 has no header for this one; its name is what a compiler that has it defines.
	out, good := compiles(t, ino, "g++", "-x", "c++", "-D__AVR__", "-D__AVR_ATmega328PB__")
	require.False(t, good)
	require.Contains(t, out, "mealtab install --board m328-mains")
}

// Each of the firmware's files that asks for the board says so too, first.
func TestSourcesNameTheirChips(t *testing.T) {
	files, err := filepath.Glob("../src/*.c")
	require.NoError(t, err)
	told := 0
	for _, file := range files {
		out, good := compiles(t, file, "avr-gcc", "-mmcu=atmega32u4", "-std=gnu99", "-DF_CPU=16000000UL")
		if strings.Contains(out, "this firmware is for ATmega328P") {
			require.False(t, good)
			require.Contains(t, firstError.FindStringSubmatch(out)[1], "this firmware is for ATmega328P", file)
			told++
		}
	}
	require.Greater(t, told, 10)
}
