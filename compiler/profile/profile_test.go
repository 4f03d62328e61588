package profile

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/table"
)

// Chip facts: ATmega48PA/88PA/168PA/328P data sheet, "Configuration Summary".
func TestEmbeddedProfiles(t *testing.T) {
	eeprom := map[string]int{"atmega328p": 1024, "atmega168p": 512}
	codes := map[uint8]string{}
	assert.Equal(t, []string{"m168-mains", "m328-barrier", "m328-both", "m328-cells", "m328-index", "m328-mains"}, Names())
	for _, p := range Boards() {
		assert.Equal(t, eeprom[p.MCU], p.EEPROMBytes, p.Name)
		m, ok := table.MapFor(p.EEPROMBytes)
		require.True(t, ok)
		assert.Equal(t, m.BankSize, p.BankBytes, p.Name)
		if codes[p.Code] == "" {
			codes[p.Code] = p.Name
		}
		first, _ := ByCode(p.Code)
		assert.Equal(t, first.EEPROMBytes, p.EEPROMBytes, "%s can run the tables of %s", p.Name, first.Name)
	}
	assert.Equal(t, map[uint8]string{1: "m328-mains", 2: "m328-cells", 3: "m168-mains"}, codes)
	p, err := Load("")
	require.NoError(t, err)
	assert.Equal(t, Default, p.Name)
}

func TestLoadFile(t *testing.T) {
	src, err := embedded.ReadFile("boards/m328-cells.toml")
	require.NoError(t, err)
	file := filepath.Join(t.TempDir(), "kitchen.toml")
	require.NoError(t, os.WriteFile(file, []byte(strings.Replace(string(src), `"m328-cells"`, `"kitchen"`, 1)), 0o644))
	p, err := Load(file)
	require.NoError(t, err)
	assert.Equal(t, "kitchen", p.Name)
	assert.Equal(t, Cells, p.Supply)
	assert.Equal(t, Pin("PD7"), p.Pins.ServoSupply, "from the board that it is like")
}

// replaced sets one key of a whole description, in a table or at the top.
func replaced(t *testing.T, src, table, key, value string) string {
	t.Helper()
	var out []string
	in, done := "", false
	for line := range strings.SplitSeq(src, "\n") {
		if strings.HasPrefix(line, "[") {
			in = strings.Trim(strings.Fields(line)[0], "[]")
		}
		if f := strings.Fields(line); !done && in == table && len(f) > 1 && f[0] == key {
			line, done = key+" = "+value, true
		}
		out = append(out, line)
	}
	require.True(t, done, "%s.%s", table, key)
	return strings.Join(out, "\n")
}

// Whatever stands in a file, it is a board that can be built, or an error that names the file.
func FuzzParse(f *testing.F) {
	for _, name := range Names() {
		src, err := embedded.ReadFile("boards/" + name + ".toml")
		require.NoError(f, err)
		f.Add(src)
	}
	for _, text := range []string{"like = 5", `like = "../boards/m328-mains"`, "pins = 3", "[[pins]]\nled = \"PC1\"", "like = \"m328-mains\"\n[pins]\nled = \"P\"",
		"like = \"m328-mains\"\nleave_out = [1]", "like = \"m328-mains\"\n[pins.led]\nx = 1", "like = \"m328-mains\"\npins.led = \"PC2\"", "\xEF\xBB\xBFlike = \"m328-cells\"\ndraw = []\n"} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, src []byte) {
		p, err := Parse("b.toml", src)
		if err != nil {
			require.Contains(t, err.Error(), "b.toml")
			return
		}
		require.NotPanics(t, func() { _, _, _ = p.Header(), p.Wiring(), p.CurrentsSource() })
		require.Equal(t, p.EEPROMBytes, p.Chip().EEPROM)
		seen := map[Pin]bool{}
		for _, r := range roles {
			pin := r.pin(&p.Pins)
			require.False(t, seen[pin], "%s twice", pin)
			seen[pin] = true
			require.True(t, r.fixed == "" || r.fixed == pin)
		}
	})
}

func TestErrors(t *testing.T) {
	src, err := embedded.ReadFile("boards/m328-mains.toml")
	require.NoError(t, err)
	good := string(src)
	for _, c := range []struct{ table, key, value, want string }{
		{"", "name", `"My Board"`, `b.toml:2:1: name = "My Board": lower-case letters, digits and hyphens are allowed`},
		{"", "title", `"a */ b"`, `b.toml:3:1: title = "a */ b": one line is wanted, without */`},
		{"", "title", `"a\nb"`, `b.toml:3:1: title = `},
		{"", "code", "0", "b.toml:4:1: code = 0 is outside 1 to 255"},
		{"", "code", "256", "b.toml:4:1: code = 256 is outside 1 to 255"},
		{"", "supply", `"solar"`, `b.toml:5:1: supply = "solar" does not exist: "mains" or "cells"`},
		{"", "mcu", `"atmega8"`, `b.toml:8:1: mcu = "atmega8" is not a chip that the firmware runs on: atmega328p, atmega168p, atmega328pb are`},
		{"", "clock_hz", "12_000_000", "clock_hz = 12000000: the servo's pulses are counted in half or whole microseconds, at 8_000_000 or 16_000_000"},
		{"", "clock", `"inside"`, `clock_hz = 16000000: the oscillator inside the chip has 8_000_000`},
		{"", "clock", `"resonator"`, `clock = "resonator" does not exist: "crystal" or "inside"`},
		{"", "clock_tolerance", "50", "clock_tolerance = 50 is outside 0 to 12 per cent"},
		{"", "clock_tolerance", "nan", "clock_tolerance = NaN is outside 0 to 12 per cent"},
		{"", "baud", "115200", "baud = 115200: mealtab calls boards at 57600 or 19200"},
		{"", "bus_hz", "1_000_000", "bus_hz = 1000000 is outside 50000 to 400000"},
		{"", "servo_turn_us", "0", "servo_turn_us = 0 turns nothing"},
		{"", "brown_out_mv", "2700", `brown_out_mv = 2700: 16000000 Hz need 3780 mV (data sheet, "Speed Grades")`},
		{"", "min_supply_mv", "4300", "min_supply_mv = 4300 is outside 4301 to 6000"},
		{"", "leave_out", `["limits"]`, `leave_out = "limits" cannot be left out: history, trim, hopper, service can`},
		{"pins", "led", `"PE1"`, `pins.led = "PE1" is not a pin: PB0 to PB7, PC0 to PC6 and PD0 to PD7 are`},
		{"pins", "led", `"PD3"`, `pins.button_feed = "PD3" is the pin of led already: each needs one of its own`},
		{"pins", "led", `"PC6"`, `pins.led = "PC6" is the chip's reset: choose another pin`},
		{"pins", "led", `"PB6"`, `pins.led = "PB6" carries the crystal (clock = "crystal"): choose another pin`},
		{"pins", "servo_pulse", `"PB2"`, `pins.servo_pulse = "PB2": the chip has OC1A on PB1, and nowhere else; write "PB1"`},
		{"pins", "sda", `"PC3"`, `pins.sda = "PC3": the chip has SDA on PC4, and nowhere else; write "PC4"`},
		{"pins", "rxd", `"PD1"`, `pins.rxd = "PD1": the chip has RXD on PD0, and nowhere else; write "PD0"`},
		{"pins", "button_plan", `"PB0"`, `pins.button_plan = "PB0": the buttons and the clock's interrupt share port D`},
		{"active", "led", `"bright"`, `active.led = "bright" is not a level: "high" or "low"`},
	} {
		_, err := Parse("b.toml", []byte(replaced(t, good, c.table, c.key, c.value)))
		require.Error(t, err, "%s %s", c.key, c.value)
		assert.ErrorContains(t, err, c.want)
		assert.Regexp(t, `^b\.toml:\d+:\d+: `, err.Error(), "where")
	}
	for _, c := range []struct{ src, want string }{
		{strings.Replace(good, "turn_ms ", "turnms ", 1), "b.toml:17:1: turnms is not a key of a board profile; known are " + strings.Join(Keys(), ", ")},
		{strings.Replace(good, "turn_ms ", "#", 1), `b.toml: the key turn_ms is missing: add it, or name a board that this one is like (like = "m328-mains")`},
		{strings.Replace(good, "scl ", "#", 1), `b.toml: the key pins.scl is missing`},
		{`like = "m328-main"`, `b.toml:1:1: like = "m328-main": no board profile "m328-main" (did you mean "m328-mains"?); there are `},
		{"like = \"m328-mains\"\n[pins]\nled = \"PD3\"\n", `b.toml:3:1: pins.button_feed = "PD3" is the pin of led already`},
		{"like = \"m328-mains\"\nclock_hz = 8_000_000\nbrown_out_mv = 2700\n", "b.toml: baud = 57600 is off by 2.1 % at 8000000 Hz, and 2 % are allowed: choose another"},
		{"code = \"one\"\n", "b.toml:1:8: "},
		{"code = \n", "b.toml:1:8: "},
	} {
		_, err := Parse("b.toml", []byte(c.src))
		assert.ErrorContains(t, err, c.want)
	}
	_, err = Load("atmega328_mains")
	assert.EqualError(t, err, `no board profile "atmega328_mains" (did you mean "m328-mains"?); there are m168-mains, m328-barrier, m328-both, m328-cells, m328-index, m328-mains, or give the path of a TOML file`)
	_, err = Load("zz")
	assert.ErrorContains(t, err, `no board profile "zz"; there are m168-mains`)
	file := filepath.Join(t.TempDir(), "small.toml")
	require.NoError(t, os.WriteFile(file, []byte("like = \"m168-mains\"\ncode = 1\n"), 0o644))
	_, err = LoadFor(filepath.Join(filepath.Dir(file), "plan.toml"), "small.toml")
	assert.EqualError(t, err, file+":2:1: code = 1 is that of m328-mains, whose tables are for 1024 bytes of EEPROM, and this chip has 512: choose 100 to 255")
	_, err = Load("no/such.toml")
	assert.ErrorContains(t, err, "no/such.toml")
}
