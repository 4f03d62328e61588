package main

import (
	"bufio"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"mealtab/compiler/prose"
	"mealtab/compiler/report/history"
	"mealtab/compiler/units"
	"mealtab/flasher"
	"mealtab/flasher/ports"
)

type reportFlags struct {
	port, output string
	alone, yes   bool
}

func (a *app) reportCommand() *cobra.Command {
	var f reportFlags
	cmd := &cobra.Command{
		Use:   "report",
		Short: "Put all that a helper needs to know into one text to paste",
		Long: `Put versions, operating system, board, faults, supply, clock, table and history of a feeder into one
text, to paste where you ask for help. Names of plans, feeders and pets are not in it, nor those of
computers, users, ports and files. Meal times are, as they stand in the table.

The text is shown. With -o it is then written, if you say so.`,
		Example: `  mealtab report
  mealtab report --port /dev/ttyUSB0 -o report.txt
  mealtab report --no-board                            where no feeder is at hand, or none answers`,
		Args: none,
		RunE: func(*cobra.Command, []string) error { return a.runReport(f) },
	}
	flags := cmd.Flags()
	flags.SortFlags = false
	flags.StringVarP(&f.port, "port", "p", "", "serial `PORT` of the feeder, or tcp:HOST:PORT, or rfc2217:HOST:PORT (default: the only one with the USB bridge of a board)")
	flags.StringVarP(&f.output, "output", "o", "", "write it to `FILE` too, after a question")
	flags.BoolVarP(&f.yes, "yes", "y", false, "write without asking")
	flags.BoolVar(&f.alone, "no-board", false, "leave the feeder out")
	return cmd
}

// kindReport is recognised by its first line.
var kindReport = kind{"not a report", func(head []byte) bool { return strings.HasPrefix(string(head), reportHead) }}

const reportHead = "mealtab report\n"

func (a *app) runReport(f reportFlags) error {
	if f.alone && f.port != "" {
		return usagef("--no-board leaves the feeder out that --port names: give one of them")
	}
	if err := a.mayReplace(f.output, kindReport, false); err != nil {
		return err
	}
	var b strings.Builder
	b.WriteString(reportHead + "\n" + versionText())
	fmt.Fprintf(&b, "  system        %s\n", systemText())
	if !f.alone {
		name, err := a.onlyPort(f.port)
		switch {
		case errors.Is(err, errNoPorts) || errors.Is(err, errNoLikelyPort):
			b.WriteString("\nFeeder\n" + prose.Wrap("  none          ", err.Error()))
		case err != nil: // it names ports
			return err
		default:
			a.reportBoard(&b, name)
		}
	}
	if _, err := io.WriteString(a.out, b.String()); err != nil || f.output == "" || f.output == "-" {
		return err
	}
	if !f.yes {
		ask := &session{a: a}
		if !ask.ask(fmt.Sprintf("\nWrite this to %s?", f.output)) {
			return errors.New("nothing was written")
		}
	}
	return a.write(f.output, []byte(b.String()))
}

// systemText names the operating system by what it says of itself to everybody, without the computer's name.
func systemText() string {
	kind := runtime.GOOS + "/" + runtime.GOARCH
	f, err := os.Open("/etc/os-release")
	if err != nil {
		return kind
	}
	defer f.Close()
	for lines := bufio.NewScanner(f); lines.Scan(); {
		if value, ok := strings.CutPrefix(lines.Text(), "PRETTY_NAME="); ok {
			return kind + ", " + strings.Trim(value, `"'`)
		}
	}
	return kind
}

// reportBoard says all that a feeder tells; what it does not tell, why.
func (a *app) reportBoard(b *strings.Builder, name string) {
	b.WriteString("\nFeeder\n")
	anonymous := func(err error) string {
		text := strings.ReplaceAll(err.Error(), name, "the port")
		return strings.ReplaceAll(text, ports.ShortName(name), "the port")
	}
	f, err := a.openFeeder(name)
	if err != nil {
		b.WriteString(prose.Wrap("  none          ", anonymous(err)))
		return
	}
	defer f.Close()
	s := &session{Feeder: f, a: a}
	s.out.direct = b
	if err := s.report(b); err != nil {
		b.WriteString(prose.Wrap("  then          ", anonymous(err)))
	}
}

// report says what the feeder is and does.
func (s *session) report(b *strings.Builder) error {
	id := s.ID
	fmt.Fprintf(b, "  board         %s, firmware %d, messages %d, tables %d, %d bytes of EEPROM, %d kHz, sensors %d, %d records of history\n",
		s.BoardName(), id.Firmware, id.Protocol, id.Format, id.EEPROMSize, id.ClockKHz, id.Sensors, id.HistorySlots)
	st, err := s.Status()
	if err != nil {
		return err
	}
	fmt.Fprintf(b, "  on for        %s by its watchdog\n", units.Span(tickTime(st.Ticks)))
	fmt.Fprintf(b, "  supply        %s\n", supplyText(st))
	fmt.Fprintf(b, "  cursor        minute %d; preset %d of %d, portions at %d %%, carry %d, by hand %d pockets (%d and %d servings left of hour and day), token %d\n",
		st.Cursor, st.Preset+1, max(1, st.Presets), 10*st.Adjust, st.Carry, st.Asked, st.HourLeft, st.DayLeft, st.Token)
	if text := hopperText(st); text != "" {
		fmt.Fprintf(b, "  hopper        %s\n", text)
	}
	s.reportClock(b, st)
	fmt.Fprintf(b, "  faults        %04X: %s\n", st.Faults, orNone(history.Faults(st.Faults)))
	stats := s.Link().Stats
	fmt.Fprintf(b, "  line          %d baud, %s, %d sent again, %d frames damaged\n", s.Link().Baud(), units.Count(stats.Requests, "request"), stats.Resent, stats.Damaged)
	if err := s.reportTable(b, st); err != nil {
		return err
	}
	return s.reportHistory(b)
}

func orNone(text string) string {
	if text == "" {
		return "none"
	}
	return text
}

func (s *session) reportClock(b *strings.Builder, st flasher.Status) {
	r, err := s.ReadClock()
	switch {
	case err != nil:
		b.WriteString(prose.Wrap("  clock         ", strings.ReplaceAll(err.Error(), s.Port(), "the port")))
	default:
		fmt.Fprintf(b, "  clock         %s; %s\n", offsetText(r), setText(st.ClockSet))
	}
}

// reportTable gives the table's bytes, which hold no names.
func (s *session) reportTable(b *strings.Builder, st flasher.Status) error {
	tab, err := s.Table(st)
	if errors.Is(err, flasher.ErrNoTable) {
		b.WriteString("  table         none\n")
		return nil
	}
	if err != nil {
		return err
	}
	fmt.Fprintf(b, "  table         %d bytes, number %d in bank %d, check %04X; mealtab listing explains them\n", len(tab), st.Sequence, st.Bank, st.CRC)
	const perLine = 32
	for at := 0; at < len(tab); at += perLine {
		fmt.Fprintf(b, "                %s\n", hex.EncodeToString(tab[at:min(at+perLine, len(tab))]))
	}
	return nil
}

// reported is how many entries of the history are in a report: about two weeks of four servings a day.
const reported = 60

func (s *session) reportHistory(b *strings.Builder) error {
	list, err := s.history(0)
	if err != nil {
		return err
	}
	left := max(0, len(list)-reported)
	b.WriteString("\nHistory, UTC\n")
	if left > 0 {
		fmt.Fprintf(b, "  %s before that\n", units.Count(left, "entry"))
	}
	if len(list) == 0 {
		b.WriteString("  none\n")
	}
	for _, h := range list[left:] {
		fmt.Fprintf(b, "  %s  %s\n", h.At.Time().Format("2006-01-02 15:04"), history.Event(h))
	}
	return nil
}

// tickTime is what so many periods of the watchdog are.
func tickTime(ticks int) time.Duration { return time.Duration(ticks) * 8 * time.Second }
