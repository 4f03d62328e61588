package profile

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Chip facts: ATmega48PA/88PA/168PA/328P data sheet, "Configuration Summary" (EEPROM) and "Speed Grades" (4 MHz at
// 1.8 V, 10 MHz at 2.7 V, 20 MHz at 4.5 V, linear between).
func TestEmbeddedProfiles(t *testing.T) {
	eeprom := map[string]int{"atmega328p": 1024, "atmega168p": 512}
	codes := map[int]string{}
	assert.Equal(t, []string{"m168-mains", "m328-cells", "m328-mains"}, Names())
	for _, name := range Names() {
		p, err := Load(name)
		require.NoError(t, err)
		assert.Equal(t, name, p.Name)
		assert.Empty(t, codes[p.Code], "code %d of %s", p.Code, name)
		codes[p.Code] = name
		assert.Equal(t, eeprom[p.MCU], p.EEPROMBytes, name)
		assert.Less(t, 2*p.BankBytes, p.EEPROMBytes, "room for journal and settings: %s", name)
		assert.GreaterOrEqual(t, p.MinSupplyMV, safeMillivolts(p.ClockHz), name)
	}
	assert.Equal(t, map[int]string{1: "m328-mains", 2: "m328-cells", 3: "m168-mains"}, codes)
	p, err := Load("")
	require.NoError(t, err)
	assert.Equal(t, Default, p.Name)
}

// The firmware's headers say the same.
func TestHeadersAgree(t *testing.T) {
	for _, name := range Names() {
		p, err := Load(name)
		require.NoError(t, err)
		header, err := os.ReadFile(filepath.Join("../../firmware-template/boards", name+".h"))
		require.NoError(t, err)
		for macro, value := range map[string]int{"SUPPLY_MIN_MV": p.MinSupplyMV, "TURN_MS": p.TurnMillis, "BOARD_CLOCK": p.ClockHz} {
			assert.Regexp(t, fmt.Sprintf(`(?m)^#define %s +%d(UL)?\b`, macro, value), string(header), name)
		}
	}
}

// safeMillivolts is the least supply for a clock.
func safeMillivolts(hz int) int {
	if hz <= 10_000_000 {
		return 1800 + (hz-4_000_000)*900/6_000_000
	}
	return 2700 + (hz-10_000_000)*1800/10_000_000
}

func TestLoadFile(t *testing.T) {
	src, err := boards.ReadFile("boards/m328-cells.toml")
	require.NoError(t, err)
	file := filepath.Join(t.TempDir(), "kitchen.toml")
	require.NoError(t, os.WriteFile(file, []byte(strings.Replace(string(src), `"m328-cells"`, `"kitchen"`, 1)), 0o644))
	p, err := Load(file)
	require.NoError(t, err)
	assert.Equal(t, "kitchen", p.Name)
	assert.Equal(t, Cells, p.Supply)
}

func TestErrors(t *testing.T) {
	src, err := boards.ReadFile("boards/m328-mains.toml")
	require.NoError(t, err)
	good := string(src)
	line := func(key, value string) string {
		var out []string
		for _, l := range strings.Split(good, "\n") {
			if strings.HasPrefix(l, key+" ") {
				l = key + " = " + value
			}
			out = append(out, l)
		}
		return strings.Join(out, "\n")
	}
	cases := []struct{ src, want string }{
		{line("name", `"My Board"`), `b.toml: name "My Board": lower-case letters, digits and hyphens are allowed`},
		{line("code", "0"), "b.toml: code = 0 is outside 1 to 255"},
		{line("clock_hz", "32768"), "b.toml: clock_hz = 32768 is outside 1000000 to 20000000"},
		{line("bank_bytes", "600"), "b.toml: bank_bytes = 600 is outside 64 to 512"},
		{line("supply", `"solar"`), `b.toml: supply "solar" does not exist: "mains" or "cells"`},
		{line("mcu", `""`), `b.toml: mcu is empty; write it as the compiler's -mmcu does, such as "atmega328p"`},
		{strings.Replace(good, "turn_ms ", "turnms ", 1), "b.toml:9:1: turnms is not a key of a board profile; known are " + strings.Join(keys, ", ")},
		{strings.Replace(good, "turn_ms       = 310\n", "", 1), "b.toml: the key turn_ms is missing"},
	}
	for _, c := range cases {
		_, err := Parse("b.toml", []byte(c.src))
		assert.EqualError(t, err, c.want)
	}
	_, err = Parse("b.toml", []byte("code = \"one\"\n"))
	assert.ErrorContains(t, err, "b.toml:1:8: ")
	_, err = Parse("b.toml", []byte("code = \n"))
	assert.ErrorContains(t, err, "b.toml:1:8: ")
	_, err = Load("atmega328_mains")
	assert.EqualError(t, err, `no board profile "atmega328_mains" (did you mean "m328-mains"?); there are m168-mains, m328-cells, m328-mains, or give the path of a TOML file`)
	_, err = Load("zz")
	assert.EqualError(t, err, `no board profile "zz"; there are m168-mains, m328-cells, m328-mains, or give the path of a TOML file`)
	_, err = Load("no/such.toml")
	assert.ErrorContains(t, err, "no/such.toml")
}
