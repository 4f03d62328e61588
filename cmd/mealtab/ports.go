package main

import (
	"errors"
	"fmt"
	"runtime"
	"strings"
	"sync"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"mealtab/cmd/mealtab/internal/page"
	"mealtab/cmd/mealtab/internal/running"
	"mealtab/flasher"
	"mealtab/flasher/link"
	"mealtab/flasher/ports"
)

// portFlags name the boards that a command talks to.
type portFlags struct {
	ports []string
	every bool
}

func (f *portFlags) register(flags *pflag.FlagSet) {
	flags.StringArrayVarP(&f.ports, "port", "p", nil, "serial `PORT` of the feeder, or tcp:HOST:PORT, or rfc2217:HOST:PORT; may be repeated (default: the only feeder there is)")
	flags.BoolVar(&f.every, "all", false, "every feeder on a USB port")
}

func (a *app) portsCommand() *cobra.Command {
	every := false
	cmd := &cobra.Command{
		Use:   "ports",
		Short: "Show the serial ports, and which feeder is on them",
		Long: `List the serial ports of this computer, and ask on each that has the USB bridge of a board whether a
feeder is there. Opening a port resets most boards; a feeder goes on afterwards as if nothing had
happened, and no serving is given twice. Other ports are listed, but not asked, unless --all says so:
something else may be on them. Emulated boards that run on this computer are listed too. Name one with --port in the other commands to use it.`,
		Example: `  mealtab ports
  mealtab ports --all
  mealtab status --port /dev/ttyUSB0`,
		Args: none,
		RunE: func(*cobra.Command, []string) error { return a.runPorts(every) },
	}
	cmd.Flags().BoolVar(&every, "all", false, "ask on every port on USB")
	return cmd
}

func (a *app) runPorts(every bool) error {
	list, err := a.ports()
	boards := running.Boards()
	if err != nil && len(boards) == 0 {
		return err
	}
	list = append(list, boards...)
	answers := make([]string, len(list))
	end := a.waiting("asking on the ports")
	var wait sync.WaitGroup
	for i, p := range list {
		answers[i] = "not asked"
		if p.Likely() || every && p.USB || i >= len(list)-len(boards) {
			wait.Go(func() { answers[i] = a.whoIsThere(p.Name) })
		}
	}
	wait.Wait()
	end()
	width := 16
	for _, p := range list {
		width = max(width, len(p.Name))
	}
	for i, p := range list {
		fmt.Fprintf(a.out, "%-*s %-22s %s\n", width, p.Name, device(p), answers[i])
	}
	return nil
}

// listPorts lists the serial ports of this computer, of which there must be one.
func listPorts() ([]ports.Port, error) {
	list, err := ports.List()
	switch {
	case err != nil:
		return nil, fmt.Errorf("the serial ports cannot be listed: %w", err)
	case len(list) == 0:
		return nil, errNoPorts
	}
	return list, nil
}

// portsAndBoards lists the serial ports, if they can be listed, and the emulated boards that run on this computer.
func portsAndBoards() ([]ports.Port, error) {
	list, err := ports.List()
	return append(list, running.Boards()...), err
}

func boardsForPage() ([]page.FoundBoard, error) {
	found, err := portsAndBoards()
	return likelyBoards(found), err
}

// likelyBoards are the ports on which the page looks for a feeder: USB, and emulated boards.
func likelyBoards(found []ports.Port) (list []page.FoundBoard) {
	for _, p := range found {
		if _, network := ports.TCPAddress(p.Name); p.USB || network {
			list = append(list, page.FoundBoard{ID: p.Name, Name: ports.ShortName(p.Name), Note: p.Product})
		}
	}
	return list
}

var errNoPorts = errors.New("this computer has no serial port: " + ports.NoPort(runtime.GOOS))

var errNoLikelyPort = errors.New("no serial port has the USB bridge of a board; name the feeder's with --port (mealtab ports lists them)")

// device is what the system says is on a port.
func device(p ports.Port) string {
	switch {
	case p.Product != "":
		return p.Product
	case p.USB:
		return "USB " + p.VID + ":" + p.PID
	}
	return ""
}

// whoIsThere asks on one port.
func (a *app) whoIsThere(name string) string {
	f, err := a.openFeeder(name)
	if f != nil {
		defer f.Close()
	}
	var nothing *link.NothingError
	var refused *ports.OpenError
	switch {
	case errors.As(err, &nothing) && len(nothing.Heard) == 0:
		return "no feeder answers"
	case errors.As(err, &nothing):
		return "another device, or another firmware"
	case errors.As(err, &refused):
		return refused.Reason
	case err != nil:
		return err.Error()
	}
	text := fmt.Sprintf("feeder: %s, firmware %d", f.BoardName(), f.ID.Firmware)
	if name, err := nameOf(f); err == nil && name != "" {
		text = fmt.Sprintf("%s: a %s", name, text)
	}
	return text
}

// openFeeder opens a port and asks who is there.
func (a *app) openFeeder(name string) (*flasher.Feeder, error) {
	l, err := a.openPort(name, flasher.DefaultBaud())
	if err != nil {
		return nil, err
	}
	f, err := flasher.Connect(l)
	if err != nil {
		l.Close()
		return nil, err
	}
	f.NotBefore = a.dataYear()
	return f, nil
}

// feeders opens what the flags name, and without them the only feeder there is. Ports that fail are among the results: one board does
// not hold up the others.
func (a *app) feeders(f portFlags) ([]opened, error) {
	names := f.ports
	if len(names) == 0 {
		var err error
		if names, err = a.feederPorts(f.every); err != nil {
			return nil, err
		}
		if len(names) == 0 {
			return nil, errNoLikelyPort
		}
	} else if f.every {
		return nil, usagef("--port and --all exclude each other")
	}
	found := a.openAll(names)
	if len(f.ports) > 0 {
		return found, nil
	}
	return choose(found, f.every)
}

// feederPorts are the ports on which a feeder may be: those with the bridge of a board, or every one on USB.
func (a *app) feederPorts(every bool) (names []string, err error) {
	list, err := a.ports()
	for _, p := range list {
		if p.Likely() || every && p.USB {
			names = append(names, p.Name)
		}
	}
	return names, err
}

// opened is a feeder, or why there is none on a port.
type opened struct {
	port   string
	feeder *flasher.Feeder
	err    error
}

func (a *app) openAll(names []string) []opened {
	found := make([]opened, len(names))
	short := make([]string, len(names))
	for i, name := range names {
		short[i] = ports.ShortName(name)
	}
	defer a.waiting("waiting for an answer on " + strings.Join(short, ", "))()
	var wait sync.WaitGroup
	for i, name := range names {
		wait.Go(func() {
			f, err := a.openFeeder(name)
			found[i] = opened{short[i], f, err}
		})
	}
	wait.Wait()
	return found
}

// choose keeps the feeders among the ports that were not named: all, or the only one.
func choose(found []opened, every bool) ([]opened, error) {
	var feeders []opened
	var names, problems []string
	for _, o := range found {
		if o.feeder != nil {
			feeders = append(feeders, o)
			names = append(names, o.port)
		} else {
			problems = append(problems, o.err.Error())
		}
	}
	switch {
	case len(feeders) == 0:
		return nil, fmt.Errorf("no feeder found\n  %s", strings.Join(problems, "\n  "))
	case len(feeders) > 1 && !every:
		for _, o := range feeders {
			o.feeder.Close()
		}
		return nil, fmt.Errorf("feeders are on %s: say which with --port, or --all", strings.Join(names, " and "))
	}
	return feeders, nil
}
