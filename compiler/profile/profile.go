// Package profile knows the boards a table can be made for.
//
// In: the name of an embedded profile, or the path of a TOML file with the same keys. Out: a checked [Profile], with
// memory in bytes, times in milliseconds, voltages in millivolts. Chip facts are those of the ATmega48PA–328P data
// sheet; the sizes of banks are the project's own.
package profile

import (
	"bytes"
	"embed"
	"errors"
	"fmt"
	"os"
	"path"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"mealtab/compiler/advice"
)

// Supply is what a board runs on.
type Supply string

// The supplies. Boards on cells switch the servo's boost converter off between meals and sleep in power-down.
const (
	Mains Supply = "mains"
	Cells Supply = "cells"
)

// Profile describes a board.
type Profile struct {
	Name        string `toml:"name"`          // letters, digits and hyphens
	Code        int    `toml:"code"`          // 1 to 255: what a table says it was made for; 1 to 3 are the embedded ones
	MCU         string `toml:"mcu"`           // as avr-gcc's -mmcu names it
	ClockHz     int    `toml:"clock_hz"`      // of the CPU
	EEPROMBytes int    `toml:"eeprom_bytes"`  // of the MCU
	BankBytes   int    `toml:"bank_bytes"`    // of each of the two banks
	Supply      Supply `toml:"supply"`        // what turns the wheel
	TurnMillis  int    `toml:"turn_ms"`       // of one pocket, where the plan does not say
	MinSupplyMV int    `toml:"min_supply_mv"` // below it the wheel is not turned
	IndexSwitch bool   `toml:"index_switch"`  // a switch counts pockets
}

//go:embed boards/*.toml
var boards embed.FS

// Default is the profile of a plan that names none.
const Default = "m328-mains"

// Names lists the embedded profiles, sorted.
func Names() []string {
	entries, err := boards.ReadDir("boards")
	if err != nil {
		panic(err) // embedded: cannot be absent
	}
	var names []string
	for _, e := range entries {
		names = append(names, strings.TrimSuffix(e.Name(), ".toml"))
	}
	slices.Sort(names)
	return names
}

// Load finds a profile: "" is [Default]; a word is the name of an embedded one; what has a slash or ends in .toml is a
// file. The error says what is wrong in which line, or which names there are; [advice.Apart] parts the two.
func Load(nameOrPath string) (*Profile, error) {
	if nameOrPath == "" {
		nameOrPath = Default
	}
	if strings.ContainsAny(nameOrPath, `/\`) || strings.HasSuffix(strings.ToLower(nameOrPath), ".toml") {
		src, err := os.ReadFile(nameOrPath)
		if err != nil {
			return nil, fmt.Errorf("board profile: %w", err)
		}
		return Parse(nameOrPath, src)
	}
	src, err := boards.ReadFile(path.Join("boards", nameOrPath+".toml"))
	if err != nil {
		return nil, advice.New(fmt.Sprintf("no board profile %q%s", nameOrPath, suggestion(nameOrPath)),
			fmt.Sprintf("there are %s, or give the path of a TOML file", strings.Join(Names(), ", ")))
	}
	return Parse(nameOrPath+".toml", src)
}

// suggestion is a guess at a mistyped name: the embedded one that shares the most leading letters once case and
// separators are set aside.
func suggestion(word string) string {
	plain := func(s string) string {
		return strings.NewReplacer("-", "", "_", "", " ", "", "atmega", "m", "p", "").Replace(strings.ToLower(s))
	}
	best, most := "", 2
	for _, name := range Names() {
		n := 0
		for a, b := plain(word), plain(name); n < len(a) && n < len(b) && a[n] == b[n]; {
			n++
		}
		if n > most {
			best, most = name, n
		}
	}
	if best == "" {
		return ""
	}
	return fmt.Sprintf(" (did you mean %q?)", best)
}

// Parse reads a profile; name is for messages. Every key is needed, and no other is allowed.
func Parse(name string, src []byte) (*Profile, error) {
	p := &Profile{}
	if err := Decode(name, "a board profile; known are "+strings.Join(keys, ", "), src, p); err != nil {
		return nil, err
	}
	if err := p.missing(src); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	if err := p.check(); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return p, nil
}

// Decode reads a TOML file about a board into v, whose fields are all the keys there are. name and what, the kind of file, are for messages.
func Decode(name, what string, src []byte, v any) error {
	err := toml.NewDecoder(bytes.NewReader(src)).DisallowUnknownFields().Decode(v)
	var unknown *toml.StrictMissingError
	var bad *toml.DecodeError
	switch {
	case errors.As(err, &unknown) && len(unknown.Errors) > 0:
		line, col := unknown.Errors[0].Position()
		return fmt.Errorf("%s:%d:%d: %s is not a key of %s", name, line, col, strings.Join(unknown.Errors[0].Key(), "."), what)
	case errors.As(err, &bad):
		line, col := bad.Position()
		return fmt.Errorf("%s:%d:%d: %s", name, line, col, strings.TrimPrefix(bad.Error(), "toml: "))
	case err != nil:
		return fmt.Errorf("%s: %w", name, err)
	}
	return nil
}

// keys are those of a profile, in the order of the struct.
var keys = []string{"name", "code", "mcu", "clock_hz", "eeprom_bytes", "bank_bytes", "supply", "turn_ms", "min_supply_mv", "index_switch"}

// missing names a key that is not there: a zero would be taken for a figure.
func (p *Profile) missing(src []byte) error {
	var given map[string]any
	if err := toml.Unmarshal(src, &given); err != nil {
		return err
	}
	for _, k := range keys {
		if _, ok := given[k]; !ok {
			return fmt.Errorf("the key %s is missing", k)
		}
	}
	return nil
}

// check refuses figures that no board of this kind can have.
func (p *Profile) check() error {
	if p.Name == "" || strings.Trim(p.Name, "abcdefghijklmnopqrstuvwxyz0123456789-") != "" {
		return fmt.Errorf("name %q: lower-case letters, digits and hyphens are allowed", p.Name)
	}
	if p.MCU == "" {
		return errors.New("mcu is empty; write it as the compiler's -mmcu does, such as \"atmega328p\"")
	}
	if p.Supply != Mains && p.Supply != Cells {
		return fmt.Errorf("supply %q does not exist: %q or %q", p.Supply, Mains, Cells)
	}
	for _, f := range []struct {
		key             string
		value, low, top int
	}{
		{"code", p.Code, 1, 255},
		{"clock_hz", p.ClockHz, 1_000_000, 20_000_000},
		{"eeprom_bytes", p.EEPROMBytes, 256, 4096},
		{"bank_bytes", p.BankBytes, 64, p.EEPROMBytes / 2},
		{"turn_ms", p.TurnMillis, 1, 60_000},
		{"min_supply_mv", p.MinSupplyMV, 1800, 6000},
	} {
		if f.value < f.low || f.value > f.top {
			return fmt.Errorf("%s = %d is outside %d to %d", f.key, f.value, f.low, f.top)
		}
	}
	return nil
}
