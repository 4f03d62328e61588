package bench_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/emulator/board"
	firmware "mealtab/firmware-template/image"
	"mealtab/flasher/bootload"
	"mealtab/flasher/flashertest"
)

// miswired is one thing that a builder gets wrong, and the cause that should be named first.
type miswired struct {
	name   string
	image  string // "": m328-mains
	set    func(*board.Config)
	wrong  func(e *flashertest.Emulated)
	feeder func(t testing.TB) *flashertest.Emulated // instead of the rest
	build  string                                   // what the builder says that is built
	cause  string
}

func bus(w board.BusWiring) func(*flashertest.Emulated) {
	return func(e *flashertest.Emulated) { e.Board.SetBusWiring(w) }
}

var miswirings = []miswired{
	{name: "SDA and SCL swapped", wrong: bus(board.BusSwapped), cause: "SDA and SCL are swapped"},
	{name: "no pull-ups", wrong: bus(board.BusNoPullUps), cause: "SDA and SCL have no pull-ups"},
	{name: "SDA open", wrong: bus(board.BusSDAOpen), cause: "SDA is open"},
	{name: "SCL open", wrong: bus(board.BusSCLOpen), cause: "SCL is open"},
	{name: "clock module without supply", wrong: bus(board.BusNoSupply), cause: "the clock module has no supply"},
	{name: "SDA shorted to ground", wrong: func(e *flashertest.Emulated) { e.Board.HoldSDA(true, 0) }, cause: "SDA is shorted to ground"},
	{name: "clock chip broken", wrong: func(e *flashertest.Emulated) { e.Board.Silence(true) }, cause: "the clock chip is broken, or another kind"},
	{name: "clock's oscillator stopped", wrong: func(e *flashertest.Emulated) { e.Board.StopCrystal(true) }, cause: "the clock's oscillator does not run"},
	{name: "clock counts in twelve hours", wrong: func(e *flashertest.Emulated) { e.Board.SetTwelveHours() }, cause: ""},
	{name: "clock a tenth fast", set: func(c *board.Config) { c.ClockDriftPPB = 100_000_000 }, cause: "the clock chip is a counterfeit or broken"},
	{name: "coin cell flat", wrong: func(e *flashertest.Emulated) { e.Board.SetBackup(false) }, cause: "the coin cell is flat, missing or the wrong way round"},
	{name: "no memory chip", wrong: func(e *flashertest.Emulated) { e.Board.RemoveMemory(true) }, cause: "the clock module has no memory chip"},
	{name: "interrupt wire open", wrong: func(e *flashertest.Emulated) { e.Board.CutInt(true) }, cause: "the interrupt wire is open"},
	{name: "interrupt wire on PD3", set: func(c *board.Config) { c.MoveWire(board.ClockIntWire, "PD3") }, cause: "the interrupt wire is on another pin"},
	{name: "interrupt wire shorted to ground", wrong: func(e *flashertest.Emulated) { e.Board.ShortInt(true) }, cause: "the interrupt wire is shorted to ground"},
	{name: "servo not plugged in", wrong: func(e *flashertest.Emulated) { e.Board.UnplugServo(true) }, cause: "the servo is not plugged in"},
	{name: "servo without supply", set: func(c *board.Config) { c.MoveWire(board.ServoSupplyWire, "PC2") }, cause: "the servo's supply does not come"},
	{name: "servo's signal on PB2", set: func(c *board.Config) { c.MoveWire(board.ServoPulseWire, "PB2") }, cause: "the signal wire of the servo is on another pin"},
	{name: "servo reversed", set: func(c *board.Config) { c.Wheel.Reversed = true }, cause: "the servo turns the other way round, or is mounted from the other side"},
	{name: "servo creeps forward", set: func(c *board.Config) { c.Wheel.Stop -= 19 }, cause: "the servo's stop pulse is off its centre"},
	{name: "servo creeps backward", set: func(c *board.Config) { c.Wheel.Stop += 33 }, cause: "the servo's stop pulse is off its centre"},
	{name: "weak adapter", set: func(c *board.Config) { c.Supply.Limit.MA = 150 }, cause: "the adapter is too weak: it switches off under the servo"},
	{name: "long thin lead", set: func(c *board.Config) { c.Supply.MilliOhms = 3500 }, cause: "the lead is too long or too thin"},
	{name: "supply of 4.35 V", set: func(c *board.Config) { c.Supply.Millivolts = 4350 }, cause: "the supply is too weak or has too few volts"},
	{name: "LED the wrong way round", wrong: func(e *flashertest.Emulated) { e.Board.TurnLED() }, cause: "the LED is the wrong way round"},
	{name: "LED missing", set: func(c *board.Config) { c.MoveWire(board.LEDWire, "PC2") }, cause: "the LED is missing, broken or its wire is off"},
	{name: "feed button stuck", wrong: func(e *flashertest.Emulated) { e.Board.Press(board.ButtonFeed, 0) }, cause: "the feed button is stuck, or its wire is shorted to ground"},
	{name: "plan button open", set: func(c *board.Config) { c.MoveWire(board.PlanWire, "PC2") }, cause: "the plan button is not connected"},
	{name: "feed and portion swapped", set: func(c *board.Config) { c.SwapWires(board.FeedWire, board.PortionWire) }, cause: "feed and portion button are swapped"},
	{name: "portion and plan swapped", set: func(c *board.Config) { c.SwapWires(board.PortionWire, board.PlanWire) }, cause: "portion and plan button are swapped"},
	{name: "index switch missing", image: "m328-index", wrong: func(e *flashertest.Emulated) { e.Board.SetIndex(board.NeverCloses) }, cause: "the index switch is missing or its wire is off"},
	{name: "index switch stuck", image: "m328-index", wrong: func(e *flashertest.Emulated) { e.Board.SetIndex(board.NeverOpens) }, cause: "the index switch is stuck or shorted"},
	{name: "index switch inverted", image: "m328-index", set: func(c *board.Config) { c.InvertIndex() }, cause: "the index switch is wired to its other contact"},
	{name: "light barrier missing", image: "m328-barrier", wrong: func(e *flashertest.Emulated) { e.Board.SetBeam(board.BeamDark) }, cause: "the light barrier is missing, or its lamp is dark"},
	{name: "light barrier blind", image: "m328-barrier", wrong: func(e *flashertest.Emulated) { e.Board.SetBeam(board.BeamBlind) }, cause: "the light barrier's receiver is lit by something else"},
	{name: "oscillator 10 % fast", set: func(c *board.Config) { c.Oscillator = board.Oscillator{PC: 10} }, cause: "the chip runs on its own oscillator, which is up to a tenth off, where a crystal is meant"},
	{name: "oscillator 10 % slow", set: func(c *board.Config) { c.Oscillator = board.Oscillator{PC: -10} }, cause: "the chip runs on its own oscillator, which is up to a tenth off, where a crystal is meant"},
	{name: "clock fuse: 8 MHz for 16", set: func(c *board.Config) { c.ClockHz /= 2 }, cause: "the clock fuse chooses the chip's own 8 MHz where a 16 MHz crystal is meant"},
	{name: "clock fuse: 16 MHz for 8", image: "m328-cells", set: func(c *board.Config) { c.ClockHz *= 2 }, cause: "the clock fuse chooses a 16 MHz crystal where the chip's own 8 MHz are meant"},
	{name: "clock fuse: divided by 8", set: func(c *board.Config) { c.ClockHz /= 8 }, cause: "the fuse CKDIV8 is programmed, as it is when a chip is new"},
	{name: "EEPROM worn", wrong: func(e *flashertest.Emulated) { e.Board.MCU().WearOut(100, 0x04) }, cause: "the EEPROM is worn out"},
	{name: "TX and RX swapped", wrong: func(e *flashertest.Emulated) { e.Crossed = true }, cause: "TX and RX are swapped"},
	{name: "no supply", wrong: func(e *flashertest.Emulated) { e.Board.PowerOff() }, cause: "the board has no supply"},
	{name: "no firmware, only a bootloader", feeder: func(t testing.TB) *flashertest.Emulated {
		e := flashertest.Boots()[0].Fresh(t)
		e.HasReset = true
		return e
	}, cause: "the chip has no firmware yet"},
	{name: "firmware of an m168 on an m328", feeder: func(t testing.TB) *flashertest.Emulated {
		return installed(t, flashertest.Boots()[0], "m168-mains")
	}, cause: "the firmware of another chip was installed"},
	{name: "firmware for 8 MHz at 16 MHz", build: "m328-mains", feeder: func(t testing.TB) *flashertest.Emulated {
		return flashertest.New(t, "m328-mains", nil, func(c *board.Config) { c.Firmware = flashertest.Image(t, "m328-cells") })
	}, cause: "the firmware of another board was installed"},
	{name: "clock fuse: 1 MHz for 16", set: func(c *board.Config) { c.ClockHz /= 16 }, cause: "the fuse CKDIV8 is programmed, as it is when a chip is new"},
	{name: "crystal of 12 MHz", set: func(c *board.Config) { c.ClockHz = 12_000_000 }, cause: "the crystal is one of 12 MHz where 16 are meant"},
	{name: "interrupt wire on a pin that nothing uses", set: func(c *board.Config) { c.MoveWire(board.ClockIntWire, "PC2") }, cause: "the interrupt wire goes to another pin"},
	{name: "servo's signal wire open", set: func(c *board.Config) { c.MoveWire(board.ServoPulseWire, "PC2") }, cause: "the signal wire of the servo is open"},
	{name: "reset pin held low", wrong: func(e *flashertest.Emulated) { e.Board.HoldReset(true) }, cause: "the reset pin is held low"},
	{name: "on cells: SDA and SCL swapped", image: "m328-cells", wrong: bus(board.BusSwapped), cause: "SDA and SCL are swapped"},
	{name: "on cells: no pull-ups", image: "m328-cells", wrong: bus(board.BusNoPullUps), cause: "SDA and SCL have no pull-ups"},
	{name: "on cells: servo not plugged in", image: "m328-cells", wrong: func(e *flashertest.Emulated) { e.Board.UnplugServo(true) }, cause: "the servo is not plugged in"},
	{name: "on cells: converter not switched on", image: "m328-cells", set: func(c *board.Config) { c.MoveWire(board.ServoSupplyWire, "PC2") }, cause: "the servo's supply does not come"},
	{name: "on cells: cells nearly empty", image: "m328-cells", set: func(c *board.Config) { c.SetVolts(2.95) }, cause: "the supply is too weak or has too few volts"},
	{name: "on cells: interrupt wire open", image: "m328-cells", wrong: func(e *flashertest.Emulated) { e.Board.CutInt(true) }, cause: "the interrupt wire is open"},
	{name: "m168: SDA and SCL swapped", image: "m168-mains", wrong: bus(board.BusSwapped), cause: "SDA and SCL are swapped"},
	{name: "m168: LED the wrong way round", image: "m168-mains", wrong: func(e *flashertest.Emulated) { e.Board.TurnLED() }, cause: "the LED is the wrong way round"},
	{name: "m168: portion button open", image: "m168-mains", set: func(c *board.Config) { c.MoveWire(board.PortionWire, "PC2") }, cause: "the portion button is not connected"},
}

func (m miswired) emulated(t testing.TB) *flashertest.Emulated {
	if m.feeder != nil {
		return m.feeder(t)
	}
	name := m.image
	if name == "" {
		name = "m328-mains"
	}
	e := flashertest.New(t, name, nil, m.set)
	if m.wrong != nil {
		m.wrong(e)
	}
	return e
}

// installed puts an image on a fresh chip through its bootloader, whatever it is for.
func installed(t testing.TB, boot flashertest.Boot, image string) *flashertest.Emulated {
	e := boot.Fresh(t)
	e.HasReset = true
	hex, ok := firmware.Hex(image)
	require.True(t, ok)
	flash, err := firmware.Flash(hex)
	require.NoError(t, err)
	var every []string
	for _, c := range bootload.Chips() {
		every = append(every, c.Name)
	}
	l := bootload.Loader{T: e}
	_, err = l.Install(flash, every)
	require.NoError(t, err)
	return e
}
