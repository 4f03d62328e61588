package check

import (
	"bytes"
	"fmt"
	"testing"
	"time"

	"mealtab/compiler/table"
	"mealtab/emulator/avr"
	"mealtab/emulator/board"
	"mealtab/firmware-template/image"
	"mealtab/flasher/frame"
)

// The board on its internal oscillator answers a host whose rate it has measured, from 10 % slow to 10 % fast (the
// oscillator's range as shipped: ATmega328P data sheet, section 29.4). The host sends the preamble, a flag and a pause, then
// the frame.
func TestPreamble(t *testing.T) {
	for percent := -10; percent <= 10; percent += 2 {
		t.Run(fmt.Sprintf("%+d%%", percent), func(t *testing.T) {
			if got := identify(t, percent); len(got) < 8 || got[0] != frame.Identify|frame.Answer || got[6] != 2 {
				t.Errorf("answer %x", got)
			}
		})
	}
}

// identify wakes the board and returns the content of its answer to IDENTIFY.
func identify(t *testing.T, percent int) []byte {
	b := newBoard(t, "m328-cells", percent)
	var a answers
	b.Observe(a.see)
	b.PowerOn()
	b.Run(40 * time.Second)
	ask(b, frame.Identify)
	return a.last
}

// answers reads what a board sends on its line.
type answers struct {
	decoder frame.Decoder
	last    []byte // content of the last whole frame
}

func (a *answers) see(e board.Event) {
	if e.Kind != board.LineSent || e.Arg != 0 {
		return
	}
	if got, err, done := a.decoder.Next(byte(e.Value)); done && err == nil {
		a.last = bytes.Clone(got)
	}
}

// knock sends the preamble and the flag that ends it, and waits.
func knock(b *board.Board, wait time.Duration) {
	b.Send(append(bytes.Repeat([]byte{frame.Preamble}, 16), frame.Flag))
	b.Run(wait)
}

// ask knocks, sends a request without payload, and lets the board answer.
func ask(b *board.Board, code byte) {
	knock(b, 50*time.Millisecond)
	b.Send(frame.Append(nil, []byte{code, 1}))
	b.Run(300 * time.Millisecond)
}

// boardStart is the instant at which the emulated boards get power first.
var boardStart = time.Date(2026, 12, 1, 12, 0, 0, 0, time.UTC)

// newBoard is an emulated board with the committed image, its CPU clock off by so many percent.
func newBoard(t testing.TB, name string, percent int) *board.Board {
	return newBoardWith(t, name, percent, false)
}

// newBoardWith tells of sleeps too if trace is set.
func newBoardWith(t testing.TB, name string, percent int, trace bool) *board.Board {
	c, err := board.ForBoard(name)
	if err != nil {
		t.Fatal(err)
	}
	c.Trace = trace
	c.ClockHz = c.ClockHz * uint64(100+percent) / 100
	c.Start = boardStart
	hex, _ := image.Hex(name)
	if c.Firmware, err = avr.ReadImage(hex); err != nil {
		t.Fatal(err)
	}
	b, err := board.New(c)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// awakeFor lets a board run, and says how long of that it was awake.
func awakeFor(b *board.Board, d time.Duration) time.Duration {
	before := b.MCU().Stats().Awake
	b.Run(d)
	return time.Duration(float64(b.MCU().Stats().Awake-before) / float64(b.MCU().ClockHz()) * 1e9)
}

// threeAfterNoon is a board that has just been switched on at noon, with a serving of three pockets at 12:01.
func threeAfterNoon(t *testing.T) *board.Board {
	t.Helper()
	tab := slowTable()
	tab.Board, tab.Zone = 1, table.Zone{}
	tab.Meals = []table.Meal{{Portion: 3, Parts: []table.Part{{Times: table.Times{List: []uint16{12*60 + 1}}}}}}
	encoded, err := table.Encode(tab)
	if err != nil {
		t.Fatal(err)
	}
	b := newBoard(t, "m328-mains", 0)
	if err := b.Program(encoded); err != nil {
		t.Fatal(err)
	}
	b.SetClock(boardStart)
	b.PowerOn()
	return b
}

// A bootloader that leaves its own values in the register of the flags does not make the board turn a serving again: after a reset that is
// no loss of power the newest record is still the serving that was given.
func TestFlagsOfABootloader(t *testing.T) {
	b := threeAfterNoon(t)
	b.Run(2 * time.Minute)
	b.MCU().SetReset(true)
	b.Run(time.Millisecond)
	b.MCU().SetReset(false)
	for !b.MCU().Executing() {
		b.MCU().Step()
	}
	b.MCU().Poke(avr.GPIOR0, 0xFF)
	b.Run(time.Minute)
	if n := b.Pockets(); n != 3 {
		t.Errorf("%d pockets fell, want 3", n)
	}
}

// The serving turns three pockets while the line brings octet after octet, which wake the CPU from the wheel's sleep: the
// length of a turn is counted in periods of the pulse, not in wakings.
func TestTurnUnderTraffic(t *testing.T) {
	b := threeAfterNoon(t)
	b.Run(59 * time.Second)
	b.Send(bytes.Repeat([]byte{frame.Preamble}, 30_000)) // five seconds of it
	b.Run(10 * time.Second)
	if n := b.Pockets(); n != 3 {
		t.Errorf("%d pockets fell, want 3", n)
	}
}
