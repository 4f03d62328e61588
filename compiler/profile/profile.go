// Package profile describes boards: everything that firmware, emulator, compiler and the estimate of the cells' life must know of one.
//
// In: the name of an embedded description, or the path of a TOML file with the same keys. Out: a checked [Profile], with memory in bytes,
// times in milliseconds and microseconds, voltages in millivolts; its C header ([Profile.Header]); the rows of its wiring page
// ([Profile.Wiring]). Chip facts are those of the ATmega48PA–328P data sheet; the sizes of banks are those of
// [mealtab/compiler/table.Maps].
package profile

import (
	"bytes"
	"cmp"
	"embed"
	"errors"
	"fmt"
	"maps"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"sync"

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

// Clock is where the CPU's clock comes from.
type Clock string

// The clocks.
const (
	Crystal Clock = "crystal"
	Inside  Clock = "inside" // the chip's own oscillator
)

// Profile describes a board. boards/m328-mains.toml says what each key means.
type Profile struct {
	Like   string `toml:"like"` // an embedded board, whose keys hold where this one says nothing
	Name   string `toml:"name"` // letters, digits and hyphens
	Title  string `toml:"title"`
	Number int    `toml:"code"` // Code, as it is written
	Supply Supply `toml:"supply"`

	MCU       string   `toml:"mcu"`
	ClockHz   int      `toml:"clock_hz"` // of the CPU
	Clock     Clock    `toml:"clock"`
	Tolerance float64  `toml:"clock_tolerance"` // per cent
	Baud      int      `toml:"baud"`
	BusHz     int      `toml:"bus_hz"`
	LeaveOut  []string `toml:"leave_out"`

	TurnMillis       int `toml:"turn_ms"` // of one pocket, where the plan does not say
	ServoStopMicros  int `toml:"servo_stop_us"`
	ServoTurnMicros  int `toml:"servo_turn_us"`
	ServoOnMillis    int `toml:"servo_on_ms"`
	ServoBrakeMillis int `toml:"brake_ms"`

	BrownOutMV  int `toml:"brown_out_mv"`
	MinSupplyMV int `toml:"min_supply_mv"` // below it the wheel is not turned
	SagPercent  int `toml:"sag_percent"`

	IndexSwitch  bool `toml:"index_switch"`  // a switch counts pockets
	LightBarrier bool `toml:"light_barrier"` // a barrier sees them fall

	Pins   Pins   `toml:"pins"`
	Active Active `toml:"active"`
	Currents

	File        string `toml:"-"` // that it was read from; empty: it is embedded
	Code        uint8  `toml:"-"` // 1 to 255: what a table says it was made for
	EEPROMBytes int    `toml:"-"` // of the chip
	BankBytes   int    `toml:"-"` // of each of the two banks

	currents map[string][]byte // the text of each of their tables
}

//go:embed boards/*.toml
var embedded embed.FS

// Default is the profile of a plan that names none.
const Default = "m328-mains"

// Names lists the embedded profiles, sorted.
func Names() []string {
	entries, err := embedded.ReadDir("boards")
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

// Boards lists the embedded profiles by their codes; of those that share one, the board without sensors comes first.
func Boards() []*Profile { return slices.Clone(all()) }

var all = sync.OnceValue(func() (list []*Profile) {
	for _, name := range Names() {
		p, err := loadEmbedded(name)
		if err != nil {
			panic(err) // embedded, and tested
		}
		list = append(list, p)
	}
	slices.SortStableFunc(list, func(a, b *Profile) int {
		return cmp.Or(cmp.Compare(a.Code, b.Code), cmp.Compare(len(a.Sensors()), len(b.Sensors())))
	})
	return list
})

// Sensors names what watches the wheel, in words; empty: nothing.
func (p *Profile) Sensors() string {
	var list []string
	if p.IndexSwitch {
		list = append(list, "index switch")
	}
	if p.LightBarrier {
		list = append(list, "light barrier")
	}
	return strings.Join(list, ", ")
}

// Named finds an embedded profile.
func Named(name string) (p *Profile, ok bool) {
	for _, p := range all() {
		if p.Name == name {
			return p, true
		}
	}
	return nil, false
}

// ByCode finds the embedded profile that a table says it was made for.
func ByCode(code uint8) (p *Profile, ok bool) {
	for _, p := range all() {
		if p.Code == code {
			return p, true
		}
	}
	return nil, false
}

// Load finds a profile: "" is [Default]; a word is the name of an embedded one; what has a slash or ends in .toml is a
// file. The error says what is wrong in which line, or which names there are; [advice.Apart] parts the two.
func Load(nameOrPath string) (*Profile, error) {
	if nameOrPath == "" {
		nameOrPath = Default
	}
	if IsPath(nameOrPath) {
		src, err := os.ReadFile(nameOrPath)
		if err != nil {
			return nil, fmt.Errorf("board profile: %w", err)
		}
		p, err := Parse(nameOrPath, src)
		if err != nil {
			return nil, err
		}
		if first, ok := ByCode(p.Code); ok && first.EEPROMBytes != p.EEPROMBytes {
			return nil, located(nameOrPath, src, at("code", "%d is that of %s, whose tables are for %d bytes of EEPROM, and this chip has %d: choose 100 to 255", p.Code, first.Name, first.EEPROMBytes, p.EEPROMBytes))
		}
		p.File = nameOrPath
		return p, nil
	}
	return loadEmbedded(nameOrPath)
}

func loadEmbedded(name string) (*Profile, error) {
	src, err := embedded.ReadFile(path.Join("boards", name+".toml"))
	if err != nil {
		return nil, unknown(name)
	}
	return Parse(name+".toml", src)
}

// IsPath reports whether a board is given by a file, and not by the name of an embedded one.
func IsPath(nameOrPath string) bool {
	return strings.ContainsAny(nameOrPath, `/\`) || strings.HasSuffix(strings.ToLower(nameOrPath), ".toml")
}

// LoadFor is Load for the board that a plan names: a path counts from the plan's file.
func LoadFor(planFile, nameOrPath string) (*Profile, error) {
	if IsPath(nameOrPath) && !filepath.IsAbs(nameOrPath) {
		nameOrPath = filepath.Join(filepath.Dir(planFile), nameOrPath)
	}
	return Load(nameOrPath)
}

func unknown(name string) error {
	return advice.New(fmt.Sprintf("no board profile %q%s", name, suggestion(name)),
		fmt.Sprintf("there are %s, or give the path of a TOML file", strings.Join(Names(), ", ")))
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

// Parse reads a profile; name is for messages. It has every key but like and the currents, or names a board that it is like.
func Parse(name string, src []byte) (*Profile, error) {
	p, given, err := read(name, src)
	if err != nil {
		return nil, err
	}
	if err := missing(given); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	if err := p.check(); err != nil {
		return nil, located(name, src, err)
	}
	return p, nil
}

// read decodes a profile over the one that it is like; given is what both say.
func read(name string, src []byte) (p *Profile, given map[string]any, err error) {
	var head struct {
		Like string `toml:"like"`
	}
	own := map[string]any{}
	if toml.Unmarshal(src, &own) == nil { // else Decode says why not
		head.Like, _ = own["like"].(string)
	}
	p, given = &Profile{currents: map[string][]byte{}}, map[string]any{}
	if head.Like != "" {
		base, err := embedded.ReadFile(path.Join("boards", head.Like+".toml"))
		if err != nil || head.Like+".toml" == name {
			return nil, nil, located(name, src, at("like", "%q: %v", head.Like, unknown(head.Like)))
		}
		if p, given, err = read(head.Like+".toml", base); err != nil {
			return nil, nil, err
		}
	}
	if own["draw"] != nil {
		p.Draw = nil // a board's own list, and not more of the other's
	}
	if err := Decode(name, "a board profile; known are "+strings.Join(Keys(), ", "), src, p); err != nil {
		return nil, nil, err
	}
	merge(given, own)
	maps.Copy(p.currents, currentsIn(src))
	return p, given, nil
}

// merge adds a text's keys to those of the one that it is like.
func merge(into, more map[string]any) {
	for k, v := range more {
		sub, isTable := v.(map[string]any)
		have, _ := into[k].(map[string]any)
		if isTable && have != nil {
			merge(have, sub)
			continue
		}
		into[k] = v
	}
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
