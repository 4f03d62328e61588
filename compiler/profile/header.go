package profile

import (
	"fmt"
	"slices"
	"strings"
)

// option is a part of the firmware that a small chip can do without.
type option struct{ word, macro, about string }

var options = []option{
	{"history", "KEEP_HISTORY", "history in the memory beside the clock chip"},
	{"trim", "TRIM_CLOCK", "the line can set the clock chip's ageing offset"},
	{"hopper", "COUNT_HOPPER", "pockets are counted out of the hopper, to say when it is nearly empty"},
	{"service", "SERVICE", "the line can try wires, light and wheel on the bench"},
}

func optionWords() (words []string) {
	for _, o := range options {
		words = append(words, o.word)
	}
	return words
}

// Header is the board as a C header, for firmware-template/src/board.h.
func (p *Profile) Header() string {
	var h strings.Builder
	define := func(name string, value any, about string) {
		line := fmt.Sprintf("#define %-20s %v", name, value)
		if about != "" {
			line = fmt.Sprintf("%-36s /* %s */", line, about)
		}
		h.WriteString(line + "\n")
	}
	fmt.Fprintf(&h, "/* Code generated from the board's TOML description; DO NOT EDIT. compiler/profile says what the keys mean. */\n\n/* %s: %s. */\n", p.Name, p.Title)
	h.WriteString("#ifndef BOARD_HEADER_H\n#define BOARD_HEADER_H\n\n")
	define("BOARD_MCU", p.Chip().Build, "for the compiler's -mmcu")
	define("BOARD_CODE", p.Code, "what a table says it was made for")
	define("BOARD_CLOCK", fmt.Sprintf("%dUL", p.ClockHz), "Hz; "+map[Clock]string{Crystal: "crystal", Inside: "oscillator of the chip"}[p.Clock])
	h.WriteString("#ifndef F_CPU\n#define F_CPU BOARD_CLOCK\n#endif\n")
	define("CPU_MEASURED", bit(p.Measured()), "1: the oscillator is timed against the clock chip's seconds before the wheel turns")
	h.WriteString("\n/* Serial line and clock module */\n")
	define("LINE_BAUD", fmt.Sprintf("%dL", p.Baud), "")
	define("LINE_MEASURED", bit(p.Measured()), "1: the bit time is measured from the host's preamble")
	define("TWI_HZ", fmt.Sprintf("%dL", p.BusHz), "")
	h.WriteString("\n/* Servo and supply */\n")
	define("STOP_PULSE_US", p.ServoStopMicros, "the table's trim is added")
	define("TURN_PULSE_US", signed(p.ServoTurnMicros), "added for turning forwards")
	define("TURN_MS", p.TurnMillis, "one pocket, if the table does not say")
	define("BRAKE_MS", p.ServoBrakeMillis, "stop pulses before the supply goes off")
	define("BOOST_MS", p.ServoOnMillis, "from supply on to pulses")
	define("SUPPLY_MIN_MV", p.MinSupplyMV, "the wheel is not turned below")
	define("SUPPLY_STEADY", bit(p.Supply == Mains), "1: a regulated supply, to be compared with the best that it was since the reset")
	define("SAG_MOST", p.SagPercent, "per cent below that (0: below the reading at rest) at which the wheel stops")
	h.WriteString("\n/* What there is */\n")
	define("INDEX_SWITCH", bit(p.IndexSwitch), "")
	define("LIGHT_BARRIER", bit(p.LightBarrier), "")
	for _, o := range options {
		define(o.macro, bit(!slices.Contains(p.LeaveOut, o.word)), o.about)
	}
	h.WriteString("\n/* Pins. _PCMSK and _PCIE are those of the port's pin-change interrupt; _HIGH is 1 if the level is high while it is supplied, lit,\n * closed or broken. */\n")
	for _, r := range roles {
		p.pinMacros(r, define)
	}
	define("PORTB_FREE", fmt.Sprintf("0x%02X", p.freeOfB()), "bits of port B that nothing is connected to")
	h.WriteString("\n#endif\n")
	return h.String()
}

// freeOfB are the bits of port B that no role and no crystal has.
func (p *Profile) freeOfB() uint8 {
	free := uint8(0xFF)
	for _, r := range roles {
		if pin := r.pin(&p.Pins); pin.Port() == 'B' {
			free &^= 1 << pin.Bit()
		}
	}
	if p.Clock == Crystal {
		free &= 0x3F
	}
	return free
}

func (p *Profile) pinMacros(r role, define func(string, any, string)) {
	pin := r.pin(&p.Pins)
	port := string(pin.Port())
	define(r.macro+"_BIT", pin.Bit(), strings.TrimSpace(string(pin)+" "+r.unit))
	if r.fixed != "" && r.key != "servo_pulse" {
		return // the firmware's modules for the chip's units name their own registers
	}
	define(r.macro+"_PORT", "PORT"+port, "")
	define(r.macro+"_DDR", "DDR"+port, "")
	define(r.macro+"_PIN", "PIN"+port, "")
	if r.level != nil {
		define(r.macro+"_HIGH", bit(r.level(&p.Active).High()), "")
	}
	if r.key == "index_switch" || r.key == "light_barrier" {
		group := pin.Port() - 'B'
		define(r.macro+"_PCMSK", fmt.Sprintf("PCMSK%d", group), "")
		define(r.macro+"_PCIE", group, "")
	}
}

// signed keeps a negative number whole in a macro.
func signed(n int) string {
	if n < 0 {
		return fmt.Sprintf("(%d)", n)
	}
	return fmt.Sprint(n)
}

func bit(b bool) int {
	if b {
		return 1
	}
	return 0
}
