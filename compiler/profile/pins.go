package profile

import (
	"fmt"
	"regexp"
	"strings"
)

// Pin is a pin of the chip by its port and bit, as "PD3".
type Pin string

// Port is its port's letter, 'B' to 'D'.
func (p Pin) Port() byte { return p[1] }

// Bit is its place in the port, 0 to 7.
func (p Pin) Bit() uint8 { return p[2] - '0' }

// Pins are a board's pins by what they do.
type Pins struct {
	ServoPulse    Pin `toml:"servo_pulse"`
	ServoSupply   Pin `toml:"servo_supply"` // switches it
	LED           Pin `toml:"led"`
	ButtonFeed    Pin `toml:"button_feed"`
	ButtonPortion Pin `toml:"button_portion"`
	ButtonPlan    Pin `toml:"button_plan"`
	ClockInt      Pin `toml:"clock_int"` // INT/SQW of the clock chip
	IndexSwitch   Pin `toml:"index_switch"`
	LightBarrier  Pin `toml:"light_barrier"`
	SDA           Pin `toml:"sda"`
	SCL           Pin `toml:"scl"`
	RXD           Pin `toml:"rxd"`
	TXD           Pin `toml:"txd"`
}

// Level is that of a pin: "high" or "low".
type Level string

// High reports whether it is high.
func (l Level) High() bool { return l == "high" }

// Active is the level of each pin while it does what it is for.
type Active struct {
	ServoSupply  Level `toml:"servo_supply"`  // the servo is supplied
	LED          Level `toml:"led"`           // lit
	IndexSwitch  Level `toml:"index_switch"`  // closed
	LightBarrier Level `toml:"light_barrier"` // the beam is broken
}

// role is what a pin does.
type role struct {
	key   string // in [pins]
	macro string // in the C header: its first letters
	pin   func(*Pins) Pin
	level func(*Active) Level // nil: the role has no choice
	fixed Pin                 // the only pin that can do it; empty: it may move
	unit  string              // of the chip, that fixes it
	portD bool                // any pin of port D
}

// roles are in the order of the keys.
var roles = []role{
	{key: "servo_pulse", macro: "SERVO_PULSE", pin: func(p *Pins) Pin { return p.ServoPulse }, fixed: "PB1", unit: "OC1A"},
	{key: "servo_supply", macro: "SERVO_SUPPLY", pin: func(p *Pins) Pin { return p.ServoSupply }, level: func(a *Active) Level { return a.ServoSupply }},
	{key: "led", macro: "LED", pin: func(p *Pins) Pin { return p.LED }, level: func(a *Active) Level { return a.LED }},
	{key: "button_feed", macro: "FEED", pin: func(p *Pins) Pin { return p.ButtonFeed }, portD: true},
	{key: "button_portion", macro: "PORTION", pin: func(p *Pins) Pin { return p.ButtonPortion }, portD: true},
	{key: "button_plan", macro: "PLAN", pin: func(p *Pins) Pin { return p.ButtonPlan }, portD: true},
	{key: "clock_int", macro: "CLOCK_INT", pin: func(p *Pins) Pin { return p.ClockInt }, portD: true},
	{key: "index_switch", macro: "INDEX", pin: func(p *Pins) Pin { return p.IndexSwitch }, level: func(a *Active) Level { return a.IndexSwitch }},
	{key: "light_barrier", macro: "BARRIER", pin: func(p *Pins) Pin { return p.LightBarrier }, level: func(a *Active) Level { return a.LightBarrier }},
	{key: "sda", macro: "SDA", pin: func(p *Pins) Pin { return p.SDA }, fixed: "PC4", unit: "SDA"},
	{key: "scl", macro: "SCL", pin: func(p *Pins) Pin { return p.SCL }, fixed: "PC5", unit: "SCL"},
	{key: "rxd", macro: "RXD", pin: func(p *Pins) Pin { return p.RXD }, fixed: "PD0", unit: "RXD"},
	{key: "txd", macro: "TXD", pin: func(p *Pins) Pin { return p.TXD }, fixed: "PD1", unit: "TXD"},
}

// Port B has eight bits, port C seven, port D eight.
var isPin = regexp.MustCompile(`^P(B[0-7]|C[0-6]|D[0-7])$`)

// checkPins refuses pins that there are not, that cannot do what they should, or that would do two things.
func (p *Profile) checkPins() error {
	used := map[Pin]string{}
	for _, r := range roles {
		if err := r.check(p); err != nil {
			return err
		}
		pin := r.pin(&p.Pins)
		if other := used[pin]; other != "" {
			return &fault{"pins." + r.key, fmt.Sprintf("%q is the pin of %s already: each needs one of its own", pin, other), "pins." + other}
		}
		used[pin] = r.key
	}
	return nil
}

func (r role) check(p *Profile) error {
	pin, key := r.pin(&p.Pins), "pins."+r.key
	switch {
	case !isPin.MatchString(string(pin)):
		return at(key, "%q is not a pin: PB0 to PB7, PC0 to PC6 and PD0 to PD7 are", pin)
	case r.fixed != "" && pin != r.fixed:
		return at(key, "%q: the chip has %s on %s, and nowhere else; write %q", pin, r.unit, r.fixed, r.fixed)
	case pin == "PC6":
		return at(key, "%q is the chip's reset: choose another pin", pin)
	case p.Clock == Crystal && (pin == "PB6" || pin == "PB7"):
		return at(key, "%q carries the crystal (clock = %q): choose another pin", pin, Crystal)
	case r.portD && pin.Port() != 'D':
		return at(key, "%q: the buttons and the clock's interrupt share port D, the one that is looked at before each sleep; PD2 to PD7 can be theirs", pin)
	}
	if r.level != nil {
		if l := r.level(&p.Active); l != "high" && l != "low" {
			return at("active."+r.key, `%q is not a level: "high" or "low"`, l)
		}
	}
	return nil
}

// Fixed lists the pins that the chip gives its units, and what for: a board cannot move them.
func Fixed() string {
	var list []string
	for _, r := range roles {
		if r.fixed != "" {
			list = append(list, fmt.Sprintf("%s %s", r.fixed, r.unit))
		}
	}
	return strings.Join(list, ", ")
}
