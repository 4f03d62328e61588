package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"mealtab/compiler/profile"
	"mealtab/compiler/prose"
	"mealtab/flasher/bootload"
)

// Files of an export for a device programmer.
const (
	exportFlash  = "flash.hex"
	exportEEPROM = "eeprom.hex"
	exportReadme = "README.txt"
	exportHead   = "What a device programmer needs for the feeder's board "
)

var kindExport = kind{"not the text of an export", func(b []byte) bool { return bytes.HasPrefix(b, []byte(exportHead)) }}

// export writes the image, the plan's table if there is a plan, and the commands into a directory: all of it, or nothing where one of the
// files that are there is another's.
func (a *app) export(p *profile.Profile, hex []byte, planName string, f installFlags) error {
	var eeprom []byte
	if planName != "" {
		var err error
		if eeprom, err = a.eepromFor(planName, f.board); err != nil {
			return err
		}
	}
	flashFile, eepromFile, readme := filepath.Join(f.export, exportFlash), filepath.Join(f.export, exportEEPROM), filepath.Join(f.export, exportReadme)
	if err := a.mayReplace(flashFile, kindHex, f.force, f.firmware, planName); err != nil {
		return err
	}
	if err := a.mayReplace(eepromFile, kindHex, f.force, f.firmware, planName); err != nil {
		return err
	}
	if err := a.mayReplace(readme, kindExport, f.force, f.firmware, planName); err != nil {
		return err
	}
	if _, err := os.Lstat(eepromFile); err == nil && eeprom == nil {
		return fmt.Errorf("%s is there, from an export with a plan: name the plan again, or another directory", eepromFile)
	}
	if err := os.MkdirAll(f.export, 0o777); err != nil {
		return plain(err)
	}
	if err := a.write(flashFile, hex); err != nil {
		return err
	}
	written := exportFlash
	if eeprom != nil {
		if err := a.write(eepromFile, eeprom); err != nil {
			return err
		}
		written += ", " + exportEEPROM
	}
	if err := a.write(readme, []byte(exportText(bootload.TargetFor(p), planName))); err != nil {
		return err
	}
	fmt.Fprintf(a.out, "%s: %s and %s for %s; the last has the fuses and the commands\n", f.export, written, exportReadme, p.Name)
	return nil
}

// eepromFor is what compile writes with --format hex.
func (a *app) eepromFor(planName, board string) ([]byte, error) {
	l, err := a.readPlan(planName)
	if err != nil {
		return nil, err
	}
	c, err := a.compile(l, compileOptions{board: board})
	if err != nil {
		return nil, fmt.Errorf("%w\nnothing was written", err)
	}
	if err := a.report(a.warnings(c)); err != nil {
		return nil, err
	}
	return encode(c.Bytes, "hex")
}

// programmerPart is a chip as the usual programmer program names it: m328p for ATmega328P.
func programmerPart(chip string) string {
	return "m" + strings.ToLower(strings.TrimPrefix(chip, "ATmega"))
}

// exportText says what to do with the files.
func exportText(t bootload.Target, planName string) string {
	part := programmerPart(t.Chips[0])
	var b strings.Builder
	say := func(text string) { b.WriteString(prose.Wrap("", text)) }
	command := func(format string, args ...any) {
		fmt.Fprintf(&b, "    avrdude -c PROGRAMMER -p %s %s\n", part, fmt.Sprintf(format, args...))
	}
	fmt.Fprintf(&b, "%s%s\n\n", exportHead, t.Board)
	say(fmt.Sprintf("Chip: %s. Clock: %s. For a chip without bootloader, through the six-pin header (MISO, MOSI, SCK, RESET, supply, ground). Not through a bootloader: "+
		"the commonest puts what is meant for the EEPROM into the flash.", t.Chips[0], bootload.Megahertz(t.Clock)))
	say("Servo unplugged, supply from one side only, cells and coin cell out of reach of children and animals. PROGRAMMER is the name of yours; " +
		"the program lists them with -c ?.")
	fmt.Fprint(&b, "\n1. Which chip is it? The program stops here if it is another.\n\n")
	command("-B 10")
	fmt.Fprint(&b, "\n2. Has the board fed before? Read its EEPROM back first: table, settings, journal.\n\n")
	command("-B 10 -U eeprom:r:kept-eeprom.hex:i")
	fmt.Fprint(&b, "\n")
	say("The next steps erase the chip; without the fuse EESAVE, as on a new one, its EEPROM too. This file puts it back, in place of step 5. Give it another name the second time.")
	fmt.Fprintf(&b, "\n3. Fuses: low %02X, high %02X, extended %02X: %s.\n\n", t.Low, t.High, t.Extended, t.Why)
	command("-B 10 -U lfuse:w:0x%02X:m -U hfuse:w:0x%02X:m -U efuse:w:0x%02X:m", t.Low, t.High, t.Extended)
	fmt.Fprint(&b, "\n")
	say("For these chips only: the bytes of one chip are wrong for another, and a crystal that is chosen and not there makes a chip deaf to the programmer. Look twice before you press return.")
	for _, twin := range t.Chips[1:] {
		fmt.Fprintf(&b, "For an %s write -p %s, and the fuses low %02X, high %02X, extended %02X.\n", twin, programmerPart(twin), t.Low, t.High, t.ExtendedOn(twin))
	}
	fmt.Fprint(&b, "\n4. Firmware. It is read back and compared.\n\n")
	command("-U flash:w:%s:i", exportFlash)
	if planName == "" {
		fmt.Fprint(&b, "\n5. Plan: with the board on a serial line, mealtab clock --set, then mealtab upload PLAN.\n")
	} else {
		fmt.Fprintf(&b, "\n5. Table of %s, into an EEPROM that holds no other: bank 0. On a board that has fed, use mealtab upload.\n\n", filepath.Base(planName))
		command("-U eeprom:w:%s:i", exportEEPROM)
		fmt.Fprint(&b, "\n6. With the board on a serial line: mealtab clock --set, then mealtab status. Without a set clock it shows one flash.\n")
	}
	fmt.Fprint(&b, "\n")
	say("What each fuse does and what goes wrong without: section 7 of the guide. No programmer was tried with these commands when this was made; the files are those that run on the emulated chip. " +
		"A feeder is never an animal's only care: watch it for a week, and look at the animal every day.")
	return b.String()
}
