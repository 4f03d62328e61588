package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"mealtab/compiler/profile"
	"mealtab/compiler/prose"
	"mealtab/compiler/units"
	"mealtab/firmware-template/image"
	"mealtab/flasher/bootload"
	"mealtab/flasher/link"
)

type installFlags struct {
	port, board, output, export, firmware string
	force                                 bool
}

func (a *app) installCommand() *cobra.Command {
	var f installFlags
	cmd := &cobra.Command{
		Use:   "install --board NAME [--export DIR [PLAN]]",
		Short: "Put the firmware on a new board, once",
		Long: `Put the feeder's firmware on a board through the serial bootloader that most boards are sold with.
This is needed once: to change a plan, use upload. Table and journal of a feeder that has some are kept. If the
cable is pulled meanwhile the board stands still, feeds nothing, and takes the next install.

Where the port has no reset line, it asks for the board's reset button. A board whose clock is not the
one that the firmware is for is found out, before or after, and named.

A board without a bootloader needs a device programmer: --export writes image, fuses, commands, and with a
PLAN the EEPROM with its table, into a directory; -o writes the image alone.`,
		Example: `  mealtab install --board m328-mains
  mealtab install --board m328-mains --port /dev/ttyUSB0
  mealtab install --board m328-cells --export bare plan.toml   for a device programmer
  mealtab install --board m328-cells -o feeder.hex             the image alone`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(_ *cobra.Command, args []string) error { return a.runInstall(f, args) },
	}
	flags := cmd.Flags()
	flags.StringVar(&f.board, "board", "", "board: a `NAME`, "+templateBoards()+"; or the path of a TOML file")
	flags.StringVarP(&f.port, "port", "p", "", "serial `PORT` of the board (default: the only one with the USB bridge of a board)")
	flags.StringVarP(&f.output, "output", "o", "", "write the image as Intel HEX to `FILE` instead")
	flags.StringVar(&f.export, "export", "", "write all that a device programmer needs into the directory `DIR` instead")
	flags.StringVar(&f.firmware, "firmware", "", "`FILE` with another image, Intel HEX (default: the one made for the board)")
	flags.BoolVar(&f.force, "force", false, "with -o and --export: write over files that are not of the kind")
	return cmd
}

func (a *app) runInstall(f installFlags, args []string) error {
	switch {
	case f.board == "":
		return usagef("--board is missing: %s", templateBoards())
	case f.export != "" && f.output != "":
		return usagef("--export and -o exclude each other: the export holds the image")
	case (f.export != "" || f.output != "") && f.port != "":
		return usagef("--port excludes --export and -o: they write files and open no port")
	case len(args) > 0 && f.export == "":
		return usagef("no arguments are wanted without --export, there is %q: mealtab upload %s puts a plan on a board that has its firmware", args[0], args[0])
	}
	p, err := profile.Load(f.board)
	switch {
	case err != nil && profile.IsPath(f.board):
		return err
	case err != nil:
		return usagef("--board %s: there is no such board in the firmware template; there are %s, or give the path of a TOML file", f.board, templateBoards())
	}
	target := bootload.TargetFor(p)
	hex, err := a.hexFor(p, f)
	if err != nil {
		return err
	}
	img, err := image.Flash(hex)
	if err != nil {
		return fmt.Errorf("the firmware image: %w", err)
	}
	if f.output != "" {
		if err := a.mayReplace(f.output, kindHex, f.force, f.firmware); err != nil {
			return err
		}
		return a.write(f.output, hex)
	}
	if f.export != "" {
		return a.export(p, hex, strings.Join(args, ""), f)
	}
	name, err := a.onlyPort(f.port)
	if err != nil {
		return err
	}
	return a.install(name, img, target)
}

func templateBoards() string {
	var names []string
	for _, b := range profile.Boards() {
		names = append(names, b.Name)
	}
	return strings.Join(names, ", ")
}

// hexFor is the image as Intel HEX.
func (a *app) hexFor(p *profile.Profile, f installFlags) ([]byte, error) {
	if f.firmware != "" {
		return a.read(f.firmware)
	}
	hex, ok := image.Hex(p.Name)
	if !ok || p.File != "" {
		return nil, noImage(p)
	}
	return hex, nil
}

// onlyPort is the port that was named, or the only one on USB.
func (a *app) onlyPort(name string) (string, error) {
	if name != "" {
		return name, nil
	}
	list, err := a.ports()
	if err != nil {
		return "", err
	}
	var found []string
	for _, p := range list {
		if p.Likely() {
			found = append(found, p.Name)
		}
	}
	switch {
	case len(found) == 0:
		return "", errNoLikelyPort
	case len(found) > 1:
		return "", fmt.Errorf("boards may be on %s: say which with --port", strings.Join(found, " and "))
	}
	return found[0], nil
}

func (a *app) install(name string, img []byte, target bootload.Target) error {
	l, err := a.openPort(name, bootload.Families()[0].Baud)
	if err != nil {
		return err
	}
	defer l.Close()
	return a.installOn(l, img, target)
}

// installOn installs through the bootloader on a link, and asks the new firmware who it is.
func (a *app) installOn(l *link.Link, img []byte, target bootload.Target) error {
	began, bar := l.Transport().Now(), a.transferBar(l.Name())
	loader := &bootload.Loader{T: l.Transport(), Baud: l.Baud(), ClockHz: target.Clock, Progress: bar.show, Press: a.pressing(l.Name()), OtherClocks: func() {
		fmt.Fprintln(a.err, "nothing at the usual rates; trying those of a board with another clock, up to a minute")
	}}
	family, err := loader.Install(img, target.Chips)
	bar.done()
	if err != nil {
		return fmt.Errorf("%s: %w%s", l.Name(), err, installAdvice(err, target))
	}
	fmt.Fprintf(a.out, "%s bytes of firmware for %s written through the %s bootloader and read back in %.1f s\n", units.Thousands(len(img)), target.Board, family.Name, l.Transport().Now().Sub(began).Seconds())
	if err := a.greet(l, loader.Baud, target); err != nil {
		return err
	}
	if family.Section > shortSection {
		fmt.Fprint(a.out, prose.Wrap("  ", watchdogNote))
	}
	return nil
}

// pressing asks for the reset button, where nothing else resets the board, as often as it is wanted.
func (a *app) pressing(port string) func() {
	presses := 0
	return func() {
		if presses++; presses == 1 {
			fmt.Fprintf(a.err, "%s has no reset line: press the board's reset button now, and once more each time this asks (at most %d times; Ctrl-C ends it)\n", port, bootload.MostPresses())
			return
		}
		fmt.Fprintf(a.err, "%s: press the board's reset button again, now (%d)\n", port, presses)
	}
}
