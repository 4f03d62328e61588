package bench

import (
	"errors"
	"fmt"
	"time"

	"mealtab/compiler/profile"
	"mealtab/flasher"
	"mealtab/flasher/bootload"
	"mealtab/flasher/frame"
	"mealtab/flasher/link"
)

// rate is a clock that a chip may run at instead of its board's, as a part of it.
type rate struct {
	part float64
	sign Symptom
}

// rates are tried where no board answers at its own. A half, an eighth and a sixteenth are what the wrong clock fuse makes of 16 MHz (the
// chip's own 8 MHz; CKDIV8; both: ATmega328P data sheet, table 9-1 and section 9.11), double is a 16 MHz crystal under firmware for 8; a tenth is how far an oscillator inside may
// be off (the same, table 29-9).
//
// The slow ones come last, and one of them twice: a board at an eighth of its rate takes ten seconds to start if its clock chip is silent too.
var rates = []rate{
	{0.5, HalfRate}, {2, DoubleRate}, {0.75, ThreeQuarters}, {0.9, TenthOff}, {1.1, TenthOff}, {0.125, EighthRate}, {0.0625, EighthRate}, {0.125, EighthRate},
}

const (
	// otherPatience is how long a board is asked at each of the other rates: more than two knocks, of a board at half its rate. A slower one takes longer,
	// and longer still where it waits for a clock chip that does not answer.
	otherPatience = 700 * time.Millisecond
	slowPatience  = 5 * time.Second
	// settleTime is what a board needs after its bootloader has let go.
	settleTime = 300 * time.Millisecond
)

// line finds the board.
func (w *walk) line() error {
	w.Person.Say("Line: asking the board who it is. Opening the port may reset it; nothing turns.")
	f, err := flasher.Connect(w.Link)
	var nothing *link.NothingError
	var version *flasher.VersionError
	switch {
	case errors.As(err, &nothing):
		return w.nobody(nothing)
	case errors.As(err, &version):
		w.wrong("firmware", version.Error(), OtherVersion)
		return errEnough
	case err != nil:
		return err
	}
	w.feeder = f
	w.report.Board, w.report.Firmware = f.BoardName(), f.ID.Firmware
	w.right("line", "answers at %d baud", w.Link.Baud())
	return nil
}

// nobody finds out why no board answers.
func (w *walk) nobody(nothing *link.NothingError) error {
	if nothing.Echo {
		w.wrong("line", nothing.Error(), Echo)
		return errEnough
	}
	w.Person.Say("Nothing answers as a feeder does. Trying the rates of a chip whose clock is not the board's: up to a minute.")
	if found, err := w.otherRates(); found || err != nil {
		return cmpErr(err)
	}
	w.Person.Say("Asking for a bootloader.")
	chip, err := w.bootloader()
	switch {
	case err == nil:
		w.wrong("line", fmt.Sprintf("a bootloader answers (%s), and no feeder after it", chip), OnlyBootloader)
		return errEnough
	case !errors.Is(err, bootload.ErrNoBootloader):
		return err
	}
	sign := Silent
	if len(nothing.Heard) > 0 {
		sign = Babble
	}
	w.wrong("line", nothing.Error(), sign)
	switch w.ask("alive", "Press the portion button ({portion}) for a moment: does the light flash?") {
	case Yes:
		w.seen = append(w.seen, Alive)
	case No:
		w.seen = append(w.seen, Lifeless)
	}
	return errEnough
}

// cmpErr is errEnough unless the port itself failed.
func cmpErr(err error) error {
	if err != nil {
		return err
	}
	return errEnough
}

// otherRates asks at the rates that a wrong clock makes.
func (w *walk) otherRates() (bool, error) {
	for _, r := range rates {
		asked := map[int]bool{}
		for _, b := range profile.Boards() {
			baud := int(float64(b.Baud)*r.part + 0.5)
			if isBoardRate(baud) || asked[baud] {
				continue
			}
			asked[baud] = true
			patience := otherPatience
			if r.part < 0.5 {
				patience = slowPatience
			}
			payload, err := w.Link.Connect([]int{baud}, patience)
			var nothing *link.NothingError
			if errors.As(err, &nothing) || err == nil && len(payload) < frame.Size(frame.MessageNamed("IDENTIFY").Response) {
				continue
			}
			if err != nil {
				return false, err
			}
			w.offRate(baud, payload[identifyBoard], b, r)
			return true, nil
		}
	}
	return false, nil
}

// identifyBoard is where IDENTIFY's answer has the code of the board.
const identifyBoard = 4

// offRate tells a chip that runs at another rate from firmware that is for another board.
func (w *walk) offRate(baud int, code byte, b *profile.Profile, r rate) {
	name := flasher.BoardName(code)
	hz := float64(b.ClockHz) * r.part
	w.report.Board = name
	if want, err := profile.Load(w.Board); w.Board != "" && err == nil && want.Code != code {
		w.wrong("firmware", fmt.Sprintf("a feeder answers at %d baud: its firmware is that of %s, and you build %s", baud, name, want.Name), OtherBoard)
		return
	}
	w.wrong("line", fmt.Sprintf("a feeder answers at %d baud, where %d is right for %s: its chip runs at about %.3g MHz instead of %d",
		baud, b.Baud, name, hz/1e6, b.ClockHz/1_000_000), r.sign)
}

func isBoardRate(baud int) bool {
	for _, b := range profile.Boards() {
		if b.Baud == baud {
			return true
		}
	}
	return false
}

// bootloader asks which chip is under a bootloader, and leaves the link at the rate it had.
func (w *walk) bootloader() (chip string, err error) {
	l := &bootload.Loader{T: w.Link.Transport(), Baud: 0, Press: func() { w.do("reset", "Press the board's reset button now.") }}
	_, sig, err := l.Look()
	if err != nil {
		return "", err
	}
	for _, c := range bootload.Chips() {
		if c.Signature == sig {
			return c.Name, nil
		}
	}
	return fmt.Sprintf("a chip with the signature % X", sig), nil
}

// firmware compares the firmware with the chip and with what the builder means to build.
func (w *walk) firmware() error {
	name := w.feeder.BoardName()
	p, known := profile.ByCode(w.feeder.ID.Board)
	if want, err := profile.Load(w.Board); w.Board != "" && err == nil {
		if want.Code != w.feeder.ID.Board {
			w.wrong("firmware", fmt.Sprintf("the board runs the firmware for %s, you build %s", name, want.Name), OtherBoard)
			return errEnough
		}
		p, known, name = want, true, want.Name
	}
	if !known {
		w.leftOut("firmware", "it was built for a board that this program does not know: name its description with --board")
		return errEnough
	}
	w.profile = p
	if w.feeder.ID.Firmware != frame.FirmwareVersion {
		w.wrong("firmware", fmt.Sprintf("version %d, this program carries %d", w.feeder.ID.Firmware, frame.FirmwareVersion), OtherFirmware)
	} else {
		w.right("firmware", "version %d for %s", w.feeder.ID.Firmware, name)
	}
	return w.chip(name)
}

// chip reads the signature where a reset line leads to a bootloader.
func (w *walk) chip(name string) error {
	if errors.Is(w.Link.Transport().Reset(), link.ErrNoResetLine) {
		w.leftOut("chip", "this port has no reset line, so the chip's signature was not read")
		return nil
	}
	baud := w.Link.Baud()
	chip, err := w.bootloader()
	if err != nil && !errors.Is(err, bootload.ErrNoBootloader) {
		return err
	}
	w.Link.Transport().Sleep(settleTime)
	if err := w.Link.Transport().SetBaud(baud); err != nil {
		return err
	}
	l := link.New(w.Link.Transport(), w.Link.Name(), baud)
	f, failed := flasher.Connect(l)
	if failed != nil {
		return failed
	}
	w.Link, w.feeder = l, f
	if err != nil {
		w.leftOut("chip", "no bootloader answers, so the chip's signature was not read")
		return nil
	}
	t := bootload.TargetFor(w.profile)
	for _, c := range t.Chips {
		if c == chip {
			w.right("chip", "%s, as %s wants", chip, name)
			return nil
		}
	}
	w.wrong("chip", fmt.Sprintf("the firmware is for %s, the chip is %s", t.Chips[0], chip), OtherChip)
	return nil
}
