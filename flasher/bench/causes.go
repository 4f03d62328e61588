package bench

import (
	"slices"
	"strings"

	"mealtab/compiler/profile"
)

// Cause is a wire, a part or a setting that may be wrong.
type Cause struct {
	Name string `json:"cause"`
	Do   string `json:"do"`

	shows []Symptom // all of them
	not   []Symptom // none of them
	sure  bool      // nothing else shows these
}

// Problem is what was seen and belongs together, with what may cause it, the likeliest first.
type Problem struct {
	Shown  []Symptom `json:"shown"`
	Causes []Cause   `json:"causes"`
}

// causes lists them, the commonest of those that show the same first: by how often each happens on benches (common practice, no source).
var causes = []Cause{
	// the line
	{"TX and RX are swapped", "swap the two wires: TX of the bridge goes to RXD ({rxd}), RX to TXD (PD1)", on(Silent, Alive), nil, false},
	{"the port is another device's", "see mealtab ports; pull the plug out and look which port goes", on(Silent, Alive), nil, false},
	{"bridge and board have no common ground", "join the grounds of bridge and board", on(Silent, Alive), nil, false},
	{"the board has no supply", "measure between VCC and GND of the chip: 5 V (cells: 3 to 4.7 V)", on(Silent, Lifeless), nil, false},
	{"the chip has no firmware and no bootloader", "mealtab install --board NAME says what is needed", on(Silent, Lifeless), nil, false},
	{"the chip's clock does not run", "look at the crystal and its two capacitors, and at the fuses (mealtab install says which)", on(Silent, Lifeless), nil, false},
	{"the reset pin is held low", "10 kΩ from RESET to VCC, and only a capacitor of 100 nF to the bridge's DTR", on(Silent, Lifeless), nil, false},
	{"TX and RX are swapped", "if the light or the button is not to be trusted: swap the two wires", on(Silent, Lifeless), nil, false},
	{"TX and RX are swapped", "swap the two wires: TX of the bridge goes to RXD ({rxd}), RX to TXD (PD1)", on(Silent), on(Lifeless), false},
	{"the board has no supply or no firmware", "measure between VCC and GND of the chip; then mealtab install --board NAME", on(Silent), on(Alive, Lifeless), false},
	{"TX and RX are joined", "look for a bridge of solder, or a wire in the hole beside the right one", on(Echo), nil, false},
	{"the port is another device's", "see mealtab ports", on(Echo), nil, false},
	{"another program is on the chip", "mealtab install --board NAME puts the feeder's firmware on it", on(Babble), nil, false},
	{"the port is another device's", "see mealtab ports", on(Babble), nil, false},
	{"the chip runs at a rate that was not tried", "look at the crystal and at the fuses (mealtab install says which)", on(Babble), nil, false},
	{"the chip has no firmware yet", "mealtab install --board NAME", on(OnlyBootloader), nil, false},
	{"the firmware on the chip is damaged", "mealtab install --board NAME", on(OnlyBootloader), nil, false},
	{"the clock fuse chooses the chip's own 8 MHz where a 16 MHz crystal is meant", "program the low fuse anew (mealtab install says which)", on(HalfRate), nil, false},
	{"the crystal is one of 8 MHz where 16 are meant", "put a 16 MHz crystal in, or build the board for 8 MHz", on(HalfRate), nil, false},
	{"the clock fuse chooses a 16 MHz crystal where the chip's own 8 MHz are meant", "program the low fuse anew, or install the firmware of a 16 MHz board", on(DoubleRate), nil, false},
	{"the firmware is that of an 8 MHz board, on a board of 16 MHz", "mealtab install --board with the right name", on(DoubleRate), nil, false},
	{"the fuse CKDIV8 is programmed, as it is when a chip is new", "program the low fuse anew (mealtab install says which)", on(EighthRate), nil, false},
	{"the crystal is one of 1 or 2 MHz", "look at what is printed on it", on(EighthRate), nil, false},
	{"the crystal is one of 12 MHz where 16 are meant", "look at what is printed on it", on(ThreeQuarters), nil, false},
	{"the crystal is one of 6 MHz where the chip's own 8 are meant", "look at what is printed on it, and program the low fuse anew", on(ThreeQuarters), nil, false},
	{"the chip runs on its own oscillator, which is up to a tenth off, where a crystal is meant", "program the low fuse anew (mealtab install says which)", on(TenthOff), nil, false},
	{"the crystal is not one of 8 or 16 MHz", "look at what is printed on it", on(TenthOff), nil, false},
	{"firmware and program are of different versions", "mealtab install puts this program's firmware on it, or take the newer program", on(OtherVersion), nil, true},
	{"the firmware is older or newer than this program", "mealtab install puts this program's firmware on it", on(OtherFirmware), nil, true},
	{"the firmware of another board was installed", "mealtab install --board with the right name", on(OtherBoard), nil, true},
	{"the firmware of another chip was installed", "mealtab install --board with the right name", on(OtherChip), nil, true},
	{"a plug or a wire of the line is loose", "move the cable while mealtab status is asked again and again", on(FellSilent), nil, false},
	{"the supply breaks down", "measure it at the chip while the step is repeated", on(FellSilent), nil, false},

	// the clock module
	{"SDA and SCL are swapped", "swap the two wires: SDA goes to {sda}, SCL to {scl}", on(ClockSilent, Crossed), nil, true},
	{"SDA is open", "look at the wire between SDA of the clock module and {sda}", on(ClockSilent, SDAFloating), nil, false},
	{"SCL is open", "look at the wire between SCL of the clock module and {scl}", on(ClockSilent, SCLFloating), nil, false},
	{"SDA alone has no pull-up", "4.7 kΩ from SDA to the clock's supply", on(ClockSilent, SDAFloating), nil, false},
	{"SCL alone has no pull-up", "4.7 kΩ from SCL to the clock's supply", on(ClockSilent, SCLFloating), nil, false},
	{"SDA and SCL have no pull-ups", "4.7 kΩ from each to the clock's supply; a bare chip brings none", on(ClockSilent, BothFloating), nil, false},
	{"both wires to the clock module are open", "look at the plug of the clock module", on(ClockSilent, BothFloating), nil, false},
	{"the clock module has no supply", "measure between VCC and GND of the module; a module without supply pulls both wires down", on(ClockSilent, BothLow), nil, false},
	{"SDA and SCL are both shorted to ground", "look for bridges of solder", on(ClockSilent, BothLow), nil, false},
	{"SDA is shorted to ground", "look for a bridge of solder at SDA", on(ClockSilent, SDALow), nil, false},
	{"a chip on the bus holds SDA", "take the supply away for a moment", on(ClockSilent, SDALow), nil, false},
	{"SCL is shorted to ground", "look for a bridge of solder at SCL", on(ClockSilent, SCLLow), nil, false},
	{"a chip on the bus holds SCL", "take the supply away for a moment", on(ClockSilent, SCLLow), nil, false},
	{"the clock chip is broken, or another kind", "its address is 68: take another module", on(ClockSilent, BothPulled), nil, false},
	{"the module has no supply, and other pull-ups hold its wires", "measure between VCC and GND of the module", on(ClockSilent, BothPulled), nil, false},
	{"SDA and SCL are swapped", "swap the two wires: SDA goes to {sda}, SCL to {scl}", on(ClockSilent), on(Crossed, BothPulled, BothFloating, BothLow, SDAFloating, SCLFloating, SDALow, SCLLow), false},
	{"the clock module has no supply", "measure between VCC and GND of the module", on(ClockSilent), on(Crossed, BothPulled, BothFloating, BothLow, SDAFloating, SCLFloating, SDALow, SCLLow), false},
	{"SDA or SCL is open, or has no pull-up", "look at the wires to {sda} and {scl}, and for 4.7 kΩ from each to the clock's supply", on(ClockSilent), on(Crossed, BothPulled, BothFloating, BothLow, SDAFloating, SCLFloating, SDALow, SCLLow), false},
	{"the clock's oscillator does not run", "a counterfeit or broken module: take another", on(ClockStops), nil, false},
	{"the clock chip is not a DS3231", "look at what is printed on it", on(ClockStops), nil, false},
	{"the clock's oscillator does not run", "a counterfeit or broken module: take another", on(ClockStands), nil, false},
	{"the bus is disturbed", "keep the wires to the module under 20 cm", on(ClockStands), nil, false},
	{"the clock chip is a counterfeit or broken", "take another module", on(ClockOff), nil, false},
	{"this computer's clock was set meanwhile", "try again", on(ClockOff), nil, false},
	{"the coin cell is flat, missing or the wrong way round", "a new cell, its plus side up; remove the charging diode of the module for a CR2032", on(ClockLost), nil, false},
	{"the holder of the coin cell has no contact", "bend its spring", on(ClockLost), nil, false},
	{"the interrupt wire is shorted to ground", "look for a bridge of solder at {int} and at SQW of the module", on(IntLow), nil, false},
	{"the interrupt wire is joined to another that is low", "look where SQW of the module goes", on(IntLow), nil, false},
	{"the interrupt wire is open", "look at the wire between SQW (INT) of the module and {int}", on(IntNever), nil, false},
	{"the interrupt wire goes to another pin", "it belongs on {int}", on(IntNever), nil, false},
	{"the interrupt wire comes from the 32K pin of the module", "it belongs on SQW (INT)", on(IntNever), nil, false},
	{"the interrupt wire is on another pin", "it belongs on {int}", on(IntElsewhere), nil, true},
	{"the clock module has no memory chip", "nothing, if that is so: the history is short then", on(MemoryMissing), nil, false},
	{"the memory chip is at another address", "its address pins A0 to A2 are open (high): 57", on(MemoryMissing), nil, false},
	{"the EEPROM is worn out", "take another chip", on(EEPROMBad), nil, false},
	{"the supply is too low for writing", "measure it", on(EEPROMBad), nil, false},

	// the supply
	{"the supply is too weak or has too few volts", "a certified 5 V adapter of 3 A, or new cells", on(SupplyLow), nil, false},
	{"the lead is too long or too thin", "a shorter, thicker lead", on(SupplyLow), nil, false},
	{"the lead is too long or too thin", "a shorter, thicker lead; 1000 µF before the servo's switch", on(SagTurning), nil, false},
	{"the adapter or the cells are too weak", "a certified 5 V adapter of 3 A, or new cells", on(SagTurning), nil, false},
	{"the wheel is stuck or the servo is too small", "turn it by hand, with the supply off", on(SagTurning), nil, false},
	{"the adapter is too weak: it switches off under the servo", "a certified 5 V adapter of 3 A", on(ResetTurning), nil, false},
	{"the capacitor before the servo's switch is missing", "1000 µF before the switch, 47 µF behind it", on(ResetTurning), nil, false},
	{"the lead is too long or too thin", "a shorter, thicker lead", on(ResetTurning), nil, false},

	// the panel
	{"the LED is the wrong way round", "it is right now: leave it so", on(LightTurned), nil, true},
	{"the LED is missing, broken or its wire is off", "look at the way from {led} through 1 kΩ and the LED to ground", on(LightDark), nil, false},
	{"the LED is the wrong way round", "its short leg goes to ground", on(LightDark), nil, false},
	{"feed and portion button are swapped", "feed belongs on {feed}, portion on {portion}", on(FeedPortion), nil, false},
	{"the other of the two was pressed", "try again", on(FeedPortion), nil, false},
	{"feed and plan button are swapped", "feed belongs on {feed}, plan on {plan}", on(FeedPlan), nil, false},
	{"the other of the two was pressed", "try again", on(FeedPlan), nil, false},
	{"portion and plan button are swapped", "portion belongs on {portion}, plan on {plan}", on(PortionPlan), nil, false},
	{"the other of the two was pressed", "try again", on(PortionPlan), nil, false},

	// servo and sensors
	{"the signal wire of the servo is on another pin", "it belongs on {pulse}", on(NoTurn, OtherPin), nil, true},
	{"the servo's supply does not come", "look at the switch: {supply}, the transistor and the MOSFET (or the boost converter), and at plus and minus of the plug", on(NoTurn, PlugDead), nil, false},
	{"the servo's supply is shorted or switched off", "with the supply off, measure between plus and minus of the plug", on(NoTurn, PlugDead), nil, false},
	{"the servo is not plugged in", "push the plug home, its brown or black wire to ground", on(NoTurn, PlugLive), on(OtherPin), false},
	{"the signal wire of the servo is open", "look at the way from {pulse} through 220 to 470 Ω to the plug", on(NoTurn, PlugLive), on(OtherPin), false},
	{"the servo is broken", "take another", on(NoTurn, PlugLive), on(OtherPin), false},
	{"the servo is not plugged in", "push the plug home, its brown or black wire to ground", on(NoTurn), on(PlugDead, PlugLive), false},
	{"the servo's supply does not come", "measure between plus and minus of the plug", on(NoTurn), on(PlugDead, PlugLive), false},
	{"the servo turns the other way round, or is mounted from the other side", "set servo_turn_us of the board to the same number below 0, or mount it from the other side", on(TurnsBack), nil, false},
	{"the wheel is driven through a gear", "set servo_turn_us of the board to the same number below 0", on(TurnsBack), nil, false},
	{"the servo's stop pulse is off its centre", "the trim of [wheel] in the plan (mealtab selftest PLAN --write writes it), or the trimmer of the servo", on(Creeps), nil, false},
	{"the servo is not one for continuous rotation", "take one", on(Creeps), nil, false},
	{"the servo is not one for continuous rotation", "take one", on(Erratic), nil, false},
	{"the wheel is stuck", "turn it by hand, with the supply off", on(Erratic), nil, false},
	{"the index switch is missing or its wire is off", "look at the way from {index} through the switch to ground", on(IndexOpen), nil, false},
	{"the cam does not reach the switch", "bend its lever", on(IndexOpen), nil, false},
	{"the index switch is stuck or shorted", "look for a bent lever, or a bridge of solder at {index}", on(IndexClosed), nil, false},
	{"the cam keeps the switch pressed", "bend its lever", on(IndexClosed), nil, false},
	{"the index switch is wired to its other contact", "it belongs on COM and NO, which is closed when the lever is pressed", on(IndexInverted), nil, false},
	{"the cam stands between two pockets", "turn it on the axle so that the switch is pressed where a pocket stands over the outlet", on(IndexInverted), nil, false},
	{"the light barrier is missing, or its lamp is dark", "look at its three wires and the resistor of its lamp (a phone's camera sees infrared)", on(BeamDark), nil, false},
	{"light does not come across the outlet", "wipe it, and look that lamp and receiver face each other", on(BeamDark), nil, false},
	{"the light barrier's receiver is lit by something else", "shade it from lamps and the sun", on(BeamBlind), nil, false},
	{"the wire of the light barrier is shorted to ground", "look for a bridge of solder at {barrier}", on(BeamBlind), nil, false},
}

// pins names the pins of a board in a text.
func pins(p *profile.Profile) *strings.Replacer {
	n := p.Pins
	return strings.NewReplacer("{rxd}", string(n.RXD), "{sda}", string(n.SDA), "{scl}", string(n.SCL), "{int}", string(n.ClockInt), "{led}", string(n.LED),
		"{supply}", string(n.ServoSupply), "{pulse}", string(n.ServoPulse), "{index}", string(n.IndexSwitch), "{barrier}", string(n.LightBarrier),
		"{feed}", string(n.ButtonFeed), "{portion}", string(n.ButtonPortion), "{plan}", string(n.ButtonPlan))
}

func on(list ...Symptom) []Symptom { return list }

func init() {
	for _, b := range panel {
		causes = append(causes,
			Cause{"the " + b.name + " button is stuck, or its wire is shorted to ground", "look at the button and for a bridge of solder at {" + b.name + "}", on(b.stuck), nil, false},
			Cause{"the " + b.name + " button is mounted a quarter turn off", "its two legs on one side are joined: turn it by 90 degrees", on(b.stuck), nil, false},
			Cause{"the " + b.name + " button is not connected", "look at the way from {" + b.name + "} through the button to ground", on(b.dead), nil, false},
			Cause{"the " + b.name + " button was not pressed in time", "try again", on(b.dead), nil, false})
	}
}

func (c *Cause) fits(seen []Symptom) bool {
	for _, s := range c.shows {
		if !slices.Contains(seen, s) {
			return false
		}
	}
	return !slices.ContainsFunc(c.not, func(s Symptom) bool { return slices.Contains(seen, s) })
}

// explains counts the symptoms of a list that a cause shows.
func (c *Cause) explains(list []Symptom) (n int) {
	for _, s := range c.shows {
		if slices.Contains(list, s) {
			n++
		}
	}
	return n
}

// evidence is what is wrong only in company: it tells causes of the same fault apart.
var evidence = []Symptom{Alive, Lifeless, BothPulled, BothFloating, BothLow, SDAFloating, SCLFloating, SDALow, SCLLow, Crossed, PlugDead, PlugLive, OtherPin}

// diagnose groups symptoms into problems. The cause that explains most comes first; of those that explain as much, the commonest. One that
// nothing else can show stands alone; else the others that explain a part of the same follow.
func diagnose(seen []Symptom) (problems []Problem) {
	left := slices.DeleteFunc(slices.Clone(seen), func(s Symptom) bool { return slices.Contains(evidence, s) })
	for len(left) > 0 {
		var best *Cause
		for i := range causes {
			if c := &causes[i]; c.fits(seen) && c.explains(left) > 0 && (best == nil || c.explains(seen) > best.explains(seen)) {
				best = c
			}
		}
		if best == nil { // a symptom that needs another's company to mean something
			problems = append(problems, Problem{Shown: left[:1]})
			left = left[1:]
			continue
		}
		p := Problem{Causes: []Cause{*best}}
		for i := range causes {
			c := &causes[i]
			if c != best && !best.sure && c.fits(seen) && c.explains(best.shows) == len(c.shows) && c.Name != best.Name {
				p.Causes = append(p.Causes, *c)
			}
		}
		p.Shown = slices.DeleteFunc(slices.Clone(seen), func(s Symptom) bool { return !slices.Contains(best.shows, s) })
		left = slices.DeleteFunc(left, func(s Symptom) bool { return slices.Contains(best.shows, s) })
		problems = append(problems, p)
	}
	return problems
}
