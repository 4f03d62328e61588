package main

import (
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"mealtab/cmd/mealtab/internal/rehearsal"
	"mealtab/compiler/profile"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
	"mealtab/emulator/avr"
	"mealtab/emulator/scenario"
)

type rehearseFlags struct {
	board, firmware string
	from, cut       string
	years, cuts     int
	servings        int // 0: scenario.MostServings
	full            bool
}

func (a *app) rehearseCommand() *cobra.Command {
	var f rehearseFlags
	cmd := &cobra.Command{
		Use:   "rehearse PLAN|TABLE",
		Short: "Run the firmware with the table for years, and compare every serving",
		Long: `Run the feeder's own firmware, instruction by instruction, on an emulated board that carries the
table, and compare every serving with the replay: the instant, and the pockets that really fell.

The first year runs whole. Of the following ones run the days around every clock change, 29 February,
the ends of months and years, and every date the table mentions; --full leaves nothing out, and starts
a fresh board about every year, so that several processors can share the work.
A table that serves very often is rehearsed to the day of its 100,000th serving or 300,000th pocket, and what
was left out is said; --servings sets another number, and three times as many pockets.
A difference ends the rehearsal and says what was expected, what happened, and what went on around it.

With --cuts the power is cut instead, in a meal of five pockets and in an upload: before, inside and after
each EEPROM write and at random cycles, for a second, ten minutes or five hours. The wheel must have turned the
planned pockets, one more or less, and the table must be whole. --cut repeats one of these cuts.`,
		Example: `  mealtab rehearse plan.toml
  mealtab rehearse plan.table --years 3 --full
  mealtab rehearse plan.toml --board mine.toml --firmware mine.hex      a board of your own
  mealtab rehearse plan.toml --cuts 20000
  mealtab rehearse plan.toml --cut meal:w7.program:10m0s`,
		Args: one("PLAN or TABLE"),
		RunE: func(_ *cobra.Command, args []string) error { return a.runRehearse(args[0], f) },
	}
	flags := cmd.Flags()
	flags.StringVar(&f.board, "board", "", "board: a `NAME`, or the path of a TOML file (default: the plan's, or the table's)")
	flags.StringVar(&f.firmware, "firmware", "", "`FILE` with the firmware, Intel HEX or ELF (default: the one made for the board)")
	flags.StringVar(&f.from, "from", "", "first `DATE`, from 00:00 UTC (default: the table's first)")
	flags.IntVar(&f.years, "years", 10, "`N` years, at most to the end of the table")
	flags.IntVar(&f.servings, "servings", scenario.MostServings, "end with the day of the `N`th serving")
	flags.IntVar(&f.cuts, "cuts", 0, "cut the power at every EEPROM write and at `N` random cycles")
	flags.StringVar(&f.cut, "cut", "", "repeat the power cut of this `ID`")
	flags.BoolVar(&f.full, "full", false, "every day of all years")
	return cmd
}

func (a *app) runRehearse(name string, f rehearseFlags) error {
	if f.years < 1 || f.years > 100 {
		return usagef("--years %d is outside 1 to 100", f.years)
	}
	if f.servings < 1 || f.servings > 100_000_000 {
		return usagef("--servings %d is outside 1 to 100,000,000", f.servings)
	}
	if f.cuts < 0 || f.cuts > 1_000_000 {
		return usagef("--cuts %d is outside 0 to 1,000,000", f.cuts)
	}
	bytes, c, err := a.loadTableFor(name, f.board)
	if err != nil {
		return err
	}
	return a.rehearse(bytes, c, f)
}

func (a *app) rehearse(bytes []byte, c *compiled, f rehearseFlags) error {
	t, err := table.Decode(bytes)
	if err != nil {
		return err
	}
	r := scenario.Rehearsal{Table: bytes, Years: f.years, Full: f.full, Servings: f.servings}
	if r.Board, err = boardFor(f.board, c, t.Board); err != nil {
		return err
	}
	if r.Firmware, err = a.firmware(f.firmware, r.Board); err != nil {
		return err
	}
	if f.cut != "" {
		return a.oneCut(r.Board, r.Firmware, f.cut)
	}
	if f.cuts > 0 {
		return a.cutSweeps(r.Board, r.Firmware, f.cuts)
	}
	if r.From, err = rehearseFrom(t, f.from); err != nil {
		return err
	}
	begun := time.Now()
	windows, left := r.Extent(t)
	if left != (scenario.Window{}) {
		fmt.Fprintf(a.err, "the table serves so often that the rehearsal will end with %s; %s\n", day(left.From-1), moreServings)
	}
	bar := a.progress("rehearsing", table.Day(r.From/table.MinutesPerDay))
	bar.to = r.From + scenario.Length(windows)
	r.Progress = bar.at
	r.Note = func(text string) { fmt.Fprintln(a.err, text) }
	report, err := scenario.Rehearse(r)
	bar.done()
	if err != nil {
		return fmt.Errorf("the firmware does not serve what the table says\n%w", err)
	}
	printRehearsal(a.out, report, time.Since(begun))
	return nil
}

const moreServings = "mealtab rehearse --servings N goes on to the Nth serving"

// rehearseFrom is the minute at which the rehearsal begins: midnight of the date before which nothing is served.
func rehearseFrom(t *table.Table, text string) (table.Minute, error) {
	if text == "" {
		return rehearsal.DayBefore(t), nil
	}
	d, err := time.Parse(time.DateOnly, strings.TrimSpace(text))
	if err != nil || d.Year() < 2000 || d.Year() > 2099 {
		return 0, usagef("--from: %q is not a date from 2000 to 2099, such as 2027-01-01", text)
	}
	return table.MinuteOf(d.Unix()), nil
}

const eepromEndurance = 100_000 // writes of a cell [ATmega328P data sheet 8.4]

func printRehearsal(w io.Writer, r *scenario.Report, took time.Duration) {
	years := r.Emulated.Hours() / 24 / 365.2425
	fmt.Fprintf(w, "%s served as replayed: every instant, every pocket\n", units.Count(r.Servings, "serving"))
	fmt.Fprintf(w, "  time       %s\n", windowWords(r.Windows))
	if r.Left != (scenario.Window{}) {
		fmt.Fprintf(w, "  not run    %s to %s: the table serves too often; %s\n", day(r.Left.From), day(r.Left.To-1), moreServings)
	}
	fmt.Fprintf(w, "  wheel      %s, turning %s\n", units.Count(r.Pockets, "pocket"), r.Wheel.Round(time.Second))
	fmt.Fprintf(w, "  late       at most %.1f ms, from the minute to the first movement (%s)\n",
		float64(r.WorstLate.Microseconds())/1000, r.WorstLateAt.Format("2006-01-02 15:04Z"))
	fmt.Fprintf(w, "  wakes      %s a day\n", units.Thousands(int(float64(r.Wakes)/(r.Emulated.Hours()/24))))
	fmt.Fprintf(w, "  awake      %.1f s a day, and %.1f s with the timers running\n", r.Awake.Seconds()/(years*365.2425), r.Idle.Seconds()/(years*365.2425))
	wear := float64(r.CellWrites) / years
	fmt.Fprintf(w, "  EEPROM     cell %d is written most: %.0f times a year", r.Cell, wear)
	if wear > 0 {
		fmt.Fprintf(w, ", its %s writes last %.0f years", units.Thousands(eepromEndurance), eepromEndurance/wear)
	}
	fmt.Fprintf(w, "\n  stack      %d bytes at the deepest\n", r.StackBytes)
	for _, v := range r.Violations {
		fmt.Fprintf(w, "  broken     %s\n", v)
	}
	fmt.Fprintf(w, "  emulated   %.1f years in %s\n", years, took.Round(time.Millisecond))
}

func day(m table.Minute) string {
	return m.Time().Format(time.DateOnly)
}

// windowWords says what was run. The windows of a full rehearsal follow each other.
func windowWords(list []scenario.Window) string {
	first, last := list[0], list[len(list)-1]
	span := day(first.From) + " to " + day(last.To-1)
	switch {
	case len(list) == 1:
		return span + "; every day"
	case list[1].From < first.To:
		return fmt.Sprintf("%s; every day, about a year on each of %d boards", span, len(list))
	}
	return fmt.Sprintf("%s; %s whole, %.0f days in %s around odd days", span, spanWords(first), days(list[1:]), units.Count(len(list)-1, "window"))
}

func spanWords(w scenario.Window) string {
	return fmt.Sprintf("%.0f days", float64(w.To-w.From)/table.MinutesPerDay)
}

func days(list []scenario.Window) float64 {
	n := 0.0
	for _, w := range list {
		n += float64(w.To-w.From) / table.MinutesPerDay
	}
	return n
}

// sweeps are what the power is cut in.
var sweeps = []struct {
	name  string
	begin func(*profile.Profile, *avr.Image) (*scenario.Sweep, error)
}{{"meal", scenario.MealSweep}, {"upload", scenario.UploadSweep}}

// cutSweeps cuts the power in a meal of five pockets and in an upload: at every EEPROM write, and at n random cycles.
func (a *app) cutSweeps(p *profile.Profile, firmware *avr.Image, n int) error {
	bad := 0
	for _, kind := range sweeps {
		s, err := kind.begin(p, firmware)
		if err != nil {
			return err
		}
		cuts := append(s.WriteCuts(), s.RandomCuts(n, 1)...)
		cuts = append(cuts, s.RandomPairs(n/10, 2)...)
		bar := a.transferBar("cutting the power: " + s.Name)
		s.Progress = func(done int) { bar.show(done, len(cuts)) }
		list := s.Run(cuts)
		bar.done()
		fmt.Fprintf(a.out, "%-8s %s, cut at each and at %s: %s, %s\n", s.Name, units.Count(s.Writes(), "EEPROM write"),
			units.Count(n+n/10, "random cycle"), units.Count(len(cuts), "power cut"), units.Count(len(list), "violation"))
		for _, v := range list {
			fmt.Fprintf(a.out, "  %s\n    repeat with --cut %s\n", v, v.Cut)
		}
		bad += len(list)
	}
	if bad > 0 {
		return fmt.Errorf("%s", units.Count(bad, "violation"))
	}
	return nil
}

// oneCut repeats a single power cut and prints what happens.
func (a *app) oneCut(p *profile.Profile, firmware *avr.Image, id string) error {
	for _, kind := range sweeps {
		if !strings.HasPrefix(id, kind.name+":") {
			continue
		}
		s, err := kind.begin(p, firmware)
		if err != nil {
			return err
		}
		c, err := s.ParseCut(id)
		if err != nil {
			return usagef("--cut: %v", err)
		}
		lines, why := s.Watch(c)
		for _, line := range lines {
			fmt.Fprintln(a.out, line)
		}
		if why != "" {
			return fmt.Errorf("%s: %s", id, why)
		}
		fmt.Fprintf(a.out, "%s: no invariant is violated\n", id)
		return nil
	}
	return usagef("--cut: %q is not a cut; one is meal:w7.program:10m0s, another upload:c183221:1s", id)
}
