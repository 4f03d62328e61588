// Package bootload puts a firmware image on a board through the bootloader in its flash, over the serial line.
//
// In: a transport with a reset line, an image in flash addresses (bytes), a chip. Out: a board that has the image, read back and
// compared, or an error that says how far it came. The bootloaders speak a small part of STK500 version 1 (application note AVR061): a
// command is its byte, arguments, and 20 hex; a good answer is 14, data, 10. Flash addresses go over the line in words, low byte
// first.
//
// Two families are in the field: a short one (512 bytes, 115,200 baud) and an older one (2 KiB, 57,600 baud, or 19,200 on the smallest
// chip). A host cannot tell them apart beforehand, and neither leaves more than a second or two after a reset. The EEPROM is never
// written this way: the short family puts what is meant for it into the flash. Nothing at or above the bootloader's start is written.
//
// A board with half a firmware might do anything, turning the wheel included. So the first page is written twice: first with a program that does
// nothing, and with the firmware's own when all other pages have been read back. An install that is cut short leaves a board that
// stands still and takes the next one.
package bootload

import (
	"bytes"
	"errors"
	"fmt"
	"time"

	"mealtab/flasher/link"
)

// Commands and answers (AVR061, section 4).
const (
	cmdSync        = 0x30
	cmdEnter       = 0x50
	cmdLeave       = 0x51
	cmdAddress     = 0x55
	cmdProgramPage = 0x64
	cmdReadPage    = 0x74
	cmdSignature   = 0x75
	endOfCommand   = 0x20
	inSync         = 0x14
	ok             = 0x10
	flashMemory    = 'F'
)

// Family is a kind of bootloader.
type Family struct {
	Name    string
	Baud    int
	Section int // bytes at the end of the flash
}

// Families lists the kinds in the order in which they are tried: by how common they are. The last is the older one as it was built for the ATmega168.
func Families() []Family {
	return []Family{{"short", 115200, 512}, {"older", 57600, 2048}, {"oldest", 19200, 2048}}
}

// Chip is a part that boards are built with.
type Chip struct {
	Name      string
	Signature [3]byte
	Flash     int // bytes
	Page      int // bytes
}

// Chips lists the parts. Signatures and sizes: ATmega48A–328P data sheet, tables 28-3 and 28-10; those of the parts without P and of the ATmega328PB from memory.
func Chips() []Chip {
	return []Chip{
		{"ATmega328P", [3]byte{0x1E, 0x95, 0x0F}, 32768, 128},
		{"ATmega328", [3]byte{0x1E, 0x95, 0x14}, 32768, 128},
		{"ATmega168P", [3]byte{0x1E, 0x94, 0x0B}, 16384, 128},
		{"ATmega168", [3]byte{0x1E, 0x94, 0x06}, 16384, 128},
		{"ATmega328PB", [3]byte{0x1E, 0x95, 0x16}, 32768, 128},
	}
}

// Waits.
const (
	// syncWait is the wait for one answer to "get sync". The watchdog of the short family gives 1 s in all, so that several tries fit.
	syncWait = 150 * time.Millisecond
	// syncTime is how long a family is tried after a reset pulse: the older one answers within a second or two.
	syncTime = 1500 * time.Millisecond
	// answerWait covers erasing and writing a page (2 × 4.5 ms) and a slow bridge, beside the time on the wire.
	answerWait = 500 * time.Millisecond
	// mostStale is how many times 64 octets are thrown away before the first command: what the port still held.
	mostStale = 16
	// restarts is how often the whole is tried: a damaged command cannot be repeated, for there are no numbers and no checks.
	restarts = 3
)

// ErrNoBootloader means that nothing answers as a bootloader at any rate.
var ErrNoBootloader = errors.New("no bootloader answers")

// DamagedError means that the flash holds part of the new firmware. The bootloader is untouched.
type DamagedError struct{ Err error }

func (e *DamagedError) Error() string {
	return fmt.Sprintf("the install was cut short: %v; the board has no whole firmware now and feeds nothing: run mealtab install again (its bootloader, table and journal are untouched)", e.Err)
}

func (e *DamagedError) Unwrap() error { return e.Err }

// ChipError means that the chip is not one that the image is for. Nothing was written.
type ChipError struct {
	Chip      Chip // without a name if it is none of [Chips]
	Signature [3]byte
	Wanted    string // the usual chip of the image
}

func (e *ChipError) Error() string {
	if e.Chip.Name == "" {
		return fmt.Sprintf("the chip's signature is % X, that of no chip this program knows; this firmware is for %s", e.Signature, e.Wanted)
	}
	return fmt.Sprintf("the chip is an %s, this firmware is for %s", e.Chip.Name, e.Wanted)
}

// StillLoadingError means that the firmware is on the board, whole, but has not been started.
type StillLoadingError struct{ Err error }

func (e *StillLoadingError) Error() string {
	return "the firmware is on the board, and every byte was read back, but its bootloader does not let go: press the board's reset button"
}

func (e *StillLoadingError) Unwrap() error { return e.Err }

// Loader installs images.
type Loader struct {
	T    link.Transport
	Baud int // the transport's present rate
	// ClockHz is the clock that the image is for; 0: any.
	ClockHz int
	// Progress, if set, is told how many bytes are done.
	Progress func(done, total int)
	// Press, if set, is called where the port has no reset line: someone must press the board's reset button now. [MostPresses] bounds how often.
	Press func()
	// OtherClocks, if set, is called when no bootloader has answered at a family's own rate, and those of boards with another clock are tried.
	OtherClocks func()

	byHand bool // the port has no reset line
	usual  bool // a bootloader has answered at a family's own rate
}

// Install writes an image and reads it back. allowed says which chips the image is for. It returns the family that answered. The error
// is a [*DamagedError] where the flash was changed, a [*StillLoadingError] where all went well but the start, and else wraps what went wrong, such as
// [ErrNoBootloader], before anything was written.
func (l *Loader) Install(image []byte, allowed []string) (Family, error) {
	touched := false
	for n := 1; ; n++ {
		family, err := l.once(image, allowed)
		var damaged *DamagedError
		var still *StillLoadingError
		switch {
		case err == nil, errors.As(err, &still):
			return family, err
		case errors.As(err, &damaged):
			touched = true
		case !touched:
			return family, fmt.Errorf("%w (nothing was written)", err)
		}
		if n == restarts {
			if damaged == nil {
				err = &DamagedError{err}
			}
			return family, err
		}
	}
}

func (l *Loader) once(image []byte, allowed []string) (Family, error) {
	family, clocks, err := l.locate()
	if err != nil {
		return family, err
	}
	chip, err := l.chip(allowed)
	if err != nil {
		return family, err
	}
	if l.wrong(clocks) {
		_, _ = l.command(0, cmdLeave)
		return family, &ClockError{chip, family.Baud, clocks, l.ClockHz}
	}
	if room := chip.Flash - family.Section; len(image) > room {
		return family, fmt.Errorf("the image has %d bytes; below the bootloader of this %s there are %d", len(image), chip.Name, room)
	}
	if _, err := l.command(0, cmdEnter); err != nil {
		return family, err
	}
	if err := l.pages(image, chip.Page); err != nil {
		return family, &DamagedError{err}
	}
	if _, err := l.command(0, cmdLeave); err != nil {
		return family, &StillLoadingError{err}
	}
	return family, nil
}

// wrong reports whether one of the clocks that a board may have is not the image's.
func (l *Loader) wrong(clocks []int) bool {
	for _, hz := range clocks {
		if l.ClockHz != 0 && hz != l.ClockHz {
			return true
		}
	}
	return false
}

// buttonRounds is how often each family's rate is tried where someone must press the reset button for it: it is not always pressed in time.
const buttonRounds = 2

// MostPresses is how often Install asks for the reset button before it gives up, if nothing was written.
func MostPresses() int { return buttonRounds*len(Families()) + len(offRates()) }

// locate finds the bootloader, also of a board whose clock is not the one it was built for; then clocks says which it may be (Hz).
func (l *Loader) locate() (f Family, clocks []int, err error) {
	for n := 1; ; n++ {
		if f, err = l.find(); !errors.Is(err, ErrNoBootloader) {
			l.usual = l.usual || err == nil
			return f, nil, err
		}
		if n == buttonRounds || l.Press == nil || !l.byHand {
			break
		}
	}
	if l.usual {
		return Family{}, nil, ErrNoBootloader // one did before, at its own rate: the clock is not why
	}
	if l.OtherClocks != nil {
		l.OtherClocks()
	}
	for _, r := range offRates() {
		if l.setBaud(r.Baud) != nil {
			continue // not every port can be set to every rate
		}
		if found, err := l.try(r.patience()); found || err != nil {
			return r.Family, r.clocks, err
		}
	}
	return Family{}, nil, ErrNoBootloader
}

// find resets the board and asks at each family's rate.
func (l *Loader) find() (Family, error) {
	for _, f := range Families() {
		if err := l.setBaud(f.Baud); err != nil {
			return f, err
		}
		if found, err := l.try(syncTime); found || err != nil {
			return f, err
		}
	}
	return Family{}, ErrNoBootloader
}

func (l *Loader) setBaud(baud int) error {
	if baud == l.Baud {
		return nil
	}
	if err := l.T.SetBaud(baud); err != nil {
		return err
	}
	l.Baud = baud
	return nil
}

// try resets the board, or has it reset, and asks at the present rate; by hand it takes longer, for nobody presses at once.
func (l *Loader) try(patience time.Duration) (bool, error) {
	switch err := l.T.Reset(); {
	case errors.Is(err, link.ErrNoResetLine):
		l.byHand = true
		if l.Press != nil {
			l.Press()
			patience += 2 * syncTime
		}
	case err != nil:
		return false, err
	}
	return l.sync(patience)
}

// sync asks until an answer comes, whatever stands before it: what the firmware was saying when it was reset, or noise. It then throws away what
// comes after it: answers to the earlier tries.
func (l *Loader) sync(patience time.Duration) (bool, error) {
	end := l.T.Now().Add(patience)
	for range mostStale {
		if heard, err := l.read(64, time.Millisecond); len(heard) == 0 || err != nil {
			break // the error comes again
		}
	}
	for l.T.Now().Before(end) {
		if _, err := l.T.Write([]byte{cmdSync, endOfCommand}); err != nil {
			return false, err
		}
		found, err := l.answered(syncWait)
		if err != nil {
			return false, err
		}
		if found {
			return true, l.drain()
		}
	}
	return false, nil
}

// answered reports whether "in sync, OK" comes within a time.
func (l *Loader) answered(wait time.Duration) (bool, error) {
	end := l.T.Now().Add(wait)
	last := byte(0)
	for l.T.Now().Before(end) {
		heard, err := l.read(1, end.Sub(l.T.Now()))
		if err != nil {
			return false, err
		}
		for _, b := range heard {
			if last == inSync && b == ok {
				return true, nil
			}
			last = b
		}
	}
	return false, nil
}

func (l *Loader) drain() error {
	for {
		heard, err := l.read(64, 30*time.Millisecond)
		if len(heard) == 0 || err != nil {
			return err
		}
	}
}

// chip reads the signature and wants one of the allowed parts.
func (l *Loader) chip(allowed []string) (Chip, error) {
	sig, err := l.command(3, cmdSignature)
	if err != nil {
		return Chip{}, fmt.Errorf("reading the chip's signature: %w", err)
	}
	for _, c := range Chips() {
		if !bytes.Equal(sig, c.Signature[:]) {
			continue
		}
		for _, name := range allowed {
			if name == c.Name {
				return c, nil
			}
		}
		return c, &ChipError{c, c.Signature, allowed[0]}
	}
	return Chip{}, &ChipError{Signature: [3]byte(sig), Wanted: allowed[0]}
}

// standstill is the page that stands in for the first one meanwhile: RJMP to itself, from the reset vector.
func standstill(size int) []byte {
	page := bytes.Repeat([]byte{0xFF}, size)
	page[0], page[1] = 0xFF, 0xCF
	return page
}

// pages writes every page that holds something and reads it back, the first page last.
func (l *Loader) pages(image []byte, size int) error {
	padded := append(bytes.Clone(image), bytes.Repeat([]byte{0xFF}, (size-len(image)%size)%size)...)
	total, done := 2*len(padded), 0
	step := func(do func(at int, page []byte) error, at int) error {
		if err := do(at, padded[at:at+size]); err != nil {
			return err
		}
		done += size
		l.progress(done, total)
		return nil
	}
	if err := l.write(0, standstill(size)); err != nil {
		return err
	}
	for _, do := range []func(int, []byte) error{l.write, l.compare} {
		for at := size; at < len(padded); at += size {
			if err := step(do, at); err != nil {
				return err
			}
		}
	}
	if err := step(l.write, 0); err != nil {
		return err
	}
	return step(l.compare, 0)
}

// write programs a page at a byte address.
func (l *Loader) write(at int, page []byte) error {
	err := l.address(at)
	if err == nil {
		_, err = l.command(0, append([]byte{cmdProgramPage, byte(len(page) >> 8), byte(len(page)), flashMemory}, page...)...)
	}
	if err != nil {
		return fmt.Errorf("writing at %04X: %w", at, err)
	}
	return nil
}

// compare reads a page back.
func (l *Loader) compare(at int, page []byte) error {
	err := l.address(at)
	var got []byte
	if err == nil {
		got, err = l.command(len(page), cmdReadPage, byte(len(page)>>8), byte(len(page)), flashMemory)
	}
	switch {
	case err != nil:
		return fmt.Errorf("reading back at %04X: %w", at, err)
	case !bytes.Equal(got, page):
		return fmt.Errorf("the page at %04X reads otherwise than it was written", at)
	}
	return nil
}

func (l *Loader) progress(done, total int) {
	if l.Progress != nil {
		l.Progress(done, total)
	}
}

func (l *Loader) address(at int) error {
	word := at / 2
	_, err := l.command(0, cmdAddress, byte(word), byte(word>>8))
	return err
}

// command sends a command and wants n bytes of data in the answer.
func (l *Loader) command(n int, octets ...byte) ([]byte, error) {
	octets = append(octets, endOfCommand)
	if _, err := l.T.Write(octets); err != nil {
		return nil, err
	}
	wire := time.Duration(len(octets)+n+2) * 10 * time.Second / time.Duration(l.Baud)
	heard, err := l.read(n+2, answerWait+wire)
	switch {
	case err != nil:
		return nil, err
	case len(heard) < n+2:
		return nil, fmt.Errorf("the bootloader's answer has %d bytes, not %d", len(heard), n+2)
	case heard[0] != inSync || heard[n+1] != ok:
		return nil, fmt.Errorf("the bootloader answers %02X … %02X, not 14 … 10", heard[0], heard[n+1])
	}
	return heard[1 : n+1], nil
}

// read waits for n bytes; fewer come when the time is over.
func (l *Loader) read(n int, wait time.Duration) ([]byte, error) {
	end := l.T.Now().Add(wait)
	var heard []byte
	buf := make([]byte, 256)
	for len(heard) < n {
		left := end.Sub(l.T.Now())
		if left <= 0 {
			break
		}
		got, err := l.T.Read(buf[:min(len(buf), n-len(heard))], left)
		if err != nil {
			return nil, err
		}
		heard = append(heard, buf[:got]...)
	}
	return heard, nil
}
