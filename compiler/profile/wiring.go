package profile

import "fmt"

// Wire is a row of a wiring page: a pin, the unit of the chip behind it, what it goes to.
type Wire struct{ Pin, Unit, To string }

// Wiring is what goes to each pin of the board.
func (p *Profile) Wiring() []Wire {
	bridge, series := "USB bridge", "4.7 kΩ"
	if p.Supply == Cells {
		bridge, series = "USB bridge (3.3 V)", "10 kΩ"
	}
	return []Wire{
		p.wire(p.Pins.RXD, "RXD", "from TX of the %s, through %s", bridge, series),
		p.wire(p.Pins.TXD, "TXD", "to RX of the %s, through %s", bridge, series),
		p.wire(p.Pins.ClockInt, "", "INT/SQW of the clock module; pull-up 4.7 to 10 kΩ to the clock's supply, unless the module has one"),
		p.wire(p.Pins.ButtonFeed, "", "button feed now, to ground"),
		p.wire(p.Pins.ButtonPortion, "", "button portion, to ground"),
		p.wire(p.Pins.ButtonPlan, "", "button plan (preset), to ground"),
		p.wire(p.Pins.IndexSwitch, "", "index switch, to ground%s%s", choose(p.Active.IndexSwitch.High(), " but where it is pressed", ""), unless(p.IndexSwitch, "index_switch")),
		p.wire(p.Pins.ServoSupply, "", "%s", p.supplySwitch()),
		p.wire(p.Pins.ServoPulse, "OC1A", "servo signal, through 220 to 470 Ω"),
		p.wire(p.Pins.LED, "", "LED with 1 kΩ to %s", choose(p.Active.LED.High(), "ground", "the supply")),
		p.wire(p.Pins.LightBarrier, "", "light barrier, to ground while the beam is %s%s", choose(p.Active.LightBarrier.High(), "lit", "broken"), unless(p.LightBarrier, "light_barrier")),
		p.wire(p.Pins.SDA, "SDA", "clock module; pull-up 4.7 kΩ to the clock's supply, unless the module has one"),
		p.wire(p.Pins.SCL, "SCL", "the same"),
		p.wire("PC6", "RESET", "%s", choose(p.Supply == Cells, "10 kΩ to VCC, reset button to ground; no DTR: 3.3 V do not pull a reset of 4.7 V safely low",
			"10 kΩ to VCC; 100 nF from DTR of the USB bridge, so that opening the port resets")),
		{"VCC, AVCC", "", choose(p.Supply == Cells, "3 D cells (2.7 to 4.7 V) through 10 Ω with 1000 µF behind it, 100 nF at each pin", "5 V DC adapter, 3 A, 100 nF at each pin")},
		{"GND", "", "one ground for all: supply, servo, clock, USB bridge"},
	}
}

func (p *Profile) wire(pin Pin, unit, to string, args ...any) Wire {
	return Wire{string(pin), unit, fmt.Sprintf(to, args...)}
}

// supplySwitch is what the pin that switches the servo's supply goes to: whatever it is, off while no pin drives.
func (p *Profile) supplySwitch() string {
	high := p.Active.ServoSupply.High()
	switch {
	case p.Supply == Cells && high:
		return "EN of the boost converter, 100 kΩ to ground so that it stays off in reset"
	case p.Supply == Cells:
		return "EN of the boost converter that is on while it is low, 100 kΩ to its supply so that it stays off in reset"
	case high:
		return "driver of the servo's supply switch, high is on: base of an NPN through 10 kΩ, 100 kΩ from base to ground so that it stays off in reset. " +
			"Not straight to a P-channel gate: with 100 kΩ to ground that is *on* in reset"
	}
	return "servo's supply switch, low is on: 100 kΩ to the supply so that it stays off in reset"
}

// unless says how a board gets a sensor that it has not.
func unless(has bool, key string) string {
	return choose(has, "", fmt.Sprintf(", if there is one (%s = true in the board's description)", key))
}

func choose(condition bool, yes, no string) string {
	if condition {
		return yes
	}
	return no
}
