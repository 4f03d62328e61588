package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"os/signal"
	"strconv"
	"syscall"
	"time"

	"github.com/creack/pty"
	"github.com/spf13/cobra"
	"golang.org/x/term"

	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/cmd/mealtab/internal/running"
	"mealtab/compiler/profile"
	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
	"mealtab/emulator/board"
	"mealtab/emulator/scenario"
)

type boardFlags struct {
	firmware, start, board string
	speed                  float64
	length                 time.Duration
	tcp                    int
}

func (a *app) boardCommand() *cobra.Command {
	var f boardFlags
	cmd := &cobra.Command{
		Use:   "board [PLAN|TABLE]",
		Short: "An emulated feeder behind a serial port, in real time or faster",
		Long: `Run the feeder's firmware on an emulated board that looks like one at a serial port: its name is
printed, and upload, status and the other commands talk to it as to a real feeder. What happens
is printed as it happens, and at the end what fell. Without PLAN or TABLE the feeder has no table yet.

Beside the pseudo-terminal it listens on a TCP port of this computer, tcp:127.0.0.1:PORT, which --port takes
too, also where there are no pseudo-terminals; mealtab ports lists it. Neither has modem lines, so opening one
does not reset the board. Commands typed here do what hands would do: ` + liveCommandNames() + `.`,
		Example: `  mealtab board plan.toml
  mealtab board plan.toml --speed 3600 --start 2027-03-27T20:00
  mealtab board --board m328-cells
  mealtab status --port /dev/pts/5          in another window`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(_ *cobra.Command, args []string) error { return a.runBoard(args, f) },
	}
	flags := cmd.Flags()
	flags.StringVar(&f.firmware, "firmware", "", "`FILE` with the firmware, Intel HEX or ELF (default: the one made for the board)")
	flags.StringVar(&f.board, "board", "", "board: a `NAME`, or the path of a TOML file (default: the plan's, the table's, m328-mains)")
	flags.StringVar(&f.start, "start", "now", "world's time `T` at the start")
	flags.Float64Var(&f.speed, "speed", 1, "`N` emulated seconds in a second")
	flags.DurationVar(&f.length, "for", 0, "stop after so much emulated `TIME`, such as 24h (default: run until quit)")
	flags.IntVar(&f.tcp, "tcp", 0, "TCP `PORT` of this computer to listen on, beside the pseudo-terminal (default: a free one)")
	return cmd
}

func (a *app) runBoard(args []string, f boardFlags) error {
	if f.speed <= 0 || f.speed > 1e7 {
		return usagef("--speed %g: a number above 0, at most 10,000,000, is wanted", f.speed)
	}
	if f.tcp < 0 || f.tcp > 0xFFFF {
		return usagef("--tcp %d is outside 1 to 65535", f.tcp)
	}
	b, local, err := a.makeBoard(args, f)
	if err != nil {
		return err
	}
	l := newLive(b, scenario.NewLog(local, a.out), f.speed)
	closeLines, err := a.openLines(l, f.tcp)
	if err != nil {
		return err
	}
	defer closeLines()
	if f.length > 0 {
		l.end = b.Nanos() + uint64(f.length)
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop) // a second signal ends the program at once, whatever it is doing
	err = l.run(a.in, ctx.Done())
	fmt.Fprint(a.out, l.diary.summary())
	return err
}

// openLines gives the board its lines: a pseudo-terminal, where the system has them, and a loopback TCP port, and says where they are.
func (a *app) openLines(l *live, tcp int) (closeAll func(), err error) {
	listener, err := net.Listen("tcp", net.JoinHostPort("127.0.0.1", strconv.Itoa(tcp)))
	if errors.Is(err, syscall.EADDRINUSE) {
		return nil, fmt.Errorf("--tcp %d: another program listens on that port; without --tcp a free one is taken", tcp)
	}
	if err != nil && tcp != 0 {
		return nil, fmt.Errorf("--tcp %d: %w", tcp, err)
	}
	master, port, noTerminal := pty.Open()
	if noTerminal == nil {
		if _, err := term.MakeRaw(int(port.Fd())); err != nil { // held open, so that a program that closes it does not end the line
			return nil, fmt.Errorf("%s: %w", port.Name(), err)
		}
		l.join(master)
		fmt.Fprintf(a.out, "the feeder is at %s\n", port.Name())
	}
	if err != nil && noTerminal != nil {
		return nil, fmt.Errorf("the feeder's line: %w", err)
	}
	forget := func() {}
	if err == nil {
		name := "tcp:" + listener.Addr().String()
		if f, err := running.Announce(name); err == nil { // else it is not on the list of ports, and that is all
			forget = f
		}
		fmt.Fprintf(a.out, "the feeder is at %s\n", name)
		go l.accept(listener)
	}
	return func() {
		forget()
		if listener != nil {
			listener.Close()
		}
		if noTerminal == nil {
			master.Close()
			port.Close()
		}
	}, nil
}

// makeBoard builds the board with what it carries.
func (a *app) makeBoard(args []string, f boardFlags) (*board.Board, replay.Clock, error) {
	t := &table.Table{}
	var encoded []byte
	var c *compiled
	if len(args) == 1 {
		var err error
		if encoded, c, err = a.loadTableFor(args[0], f.board); err != nil {
			return nil, replay.Clock{}, err
		}
		if t, err = table.Decode(encoded); err != nil {
			return nil, replay.Clock{}, err
		}
	} else {
		f.board = cmp.Or(f.board, profile.Default)
	}
	described, err := boardFor(f.board, c, t.Board)
	if err != nil {
		return nil, replay.Clock{}, err
	}
	if c != nil {
		c.keepNames()
	}
	if encoded != nil && t.Board != described.Code {
		return nil, replay.Clock{}, fmt.Errorf("the table is for board %d, not for %s", t.Board, described.Name)
	}
	start, err := moment.Parse(f.start, zone.UTC(), a.now)
	if err != nil {
		return nil, replay.Clock{}, usagef("--start: %v", err)
	}
	local := replay.NewClock(&t.Zone)
	config := board.ForProfile(described)
	config.Start = start.At.Time()
	if f.start == "now" {
		config.Start = a.now.UTC()
	}
	if config.Firmware, err = a.firmware(f.firmware, described); err != nil {
		return nil, local, err
	}
	if encoded != nil {
		scenario.Calibrate(&config.Wheel, t)
	}
	b, err := board.New(config)
	if err != nil {
		return nil, local, err
	}
	b.SetClock(b.Now())
	if encoded != nil {
		err = b.Program(encoded)
	}
	return b, local, err
}
