package main

import (
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/schollz/progressbar/v3"
	"github.com/spf13/cobra"

	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/cmd/mealtab/internal/serving"
	"mealtab/cmd/mealtab/internal/tablefile"
	"mealtab/compiler/plan"
	"mealtab/compiler/raise"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
	"mealtab/emulator/replay"
	"mealtab/emulator/scenario"
	"mealtab/flasher"
)

type uploadFlags struct {
	portFlags
	compileOptions
	yes   bool
	years int
}

func (a *app) uploadCommand() *cobra.Command {
	var f uploadFlags
	cmd := &cobra.Command{
		Use:   "upload PLAN|TABLE",
		Short: "Put a plan on a feeder",
		Long: `Compile a plan, prove it, rehearse it on the feeder's firmware, and put it on the feeder. Before
anything is written it is shown what changes: meals, food a day, the next servings. The new table goes
beside the old one, is read back, and only then put in force, with one byte; the old plan feeds until
then, the new one from the next minute on, and a serving that both have due is given once. The clock is
set too. At the end the feeder itself says what it will serve next.

Whatever happens on the way, a pulled cable or a power cut, the feeder holds the old table or the new
one, whole.

Pull out the servo's own supply if the board has both it and USB on one rail, and keep fingers and paws
off the wheel: a serving that is due is given.`,
		Example: `  mealtab upload plan.toml
  mealtab upload plan.toml --port /dev/ttyUSB0 --yes
  mealtab upload plan.toml --all               the same plan for every feeder on USB`,
		Args: one("PLAN or TABLE"),
		RunE: func(_ *cobra.Command, args []string) error { return a.runUpload(args[0], f) },
	}
	flags := cmd.Flags()
	f.register(flags)
	flags.BoolVarP(&f.yes, "yes", "y", false, "do not ask")
	flags.StringVar(&f.board, "board", "", "board profile: a `NAME`, or the path of a TOML file (default: the plan's)")
	flags.StringVar(&f.from, "from", "", "first `DATE` that the table must serve (default: 1 January of the data's year)")
	flags.IntVar(&f.years, "rehearse", 10, "rehearse `N` years on the firmware; 0: none")
	return cmd
}

// cargo is a table to be uploaded, with what is known about it.
type cargo struct {
	bytes    []byte
	schedule *serving.Schedule
	db       *zone.Database
	compiled *compiled // nil: it came as a table
}

func (a *app) runUpload(name string, f uploadFlags) error {
	if f.years < 0 || f.years > 100 {
		return usagef("--rehearse %d is outside 0 to 100", f.years)
	}
	if name == "-" && !f.yes {
		return usagef("the plan comes from standard input, so that no question can be answered: add --yes")
	}
	c, err := a.cargo(name, f.compileOptions)
	if err != nil {
		return err
	}
	if err := a.tryOut(c, f.years); err != nil {
		return err
	}
	return a.each(f.portFlags, func(s *session) error { return s.upload(c, f.yes) })
}

// cargo reads a plan and compiles it, or reads a table.
func (a *app) cargo(name string, o compileOptions) (*cargo, error) {
	src, err := a.read(name)
	if err != nil {
		return nil, err
	}
	if tablefile.Is(name, src) {
		return a.tableCargo(src)
	}
	l, err := a.loadPlan(name, src)
	if err != nil {
		return nil, err
	}
	c, err := a.compile(l, o)
	if err != nil {
		return nil, err
	}
	if err := a.report(a.warnings(c)); err != nil {
		return nil, err
	}
	fmt.Fprintf(a.out, "%s: %d bytes for %s; %s servings proved through %s\n", name, len(c.Bytes), c.board.Name, thousands(c.Proof.Instants), c.Proof.Through)
	return &cargo{c.Bytes, c.schedule(), c.db, c}, nil
}

func (a *app) tableCargo(src []byte) (*cargo, error) {
	bytes, err := tablefile.Read(src)
	if err != nil {
		return nil, err
	}
	db, err := a.database()
	if err != nil {
		return nil, err
	}
	schedule, err := tableSchedule(bytes)
	return &cargo{bytes, schedule, db, nil}, err
}

// tryOut rehearses the table on the firmware made for its board.
func (a *app) tryOut(c *cargo, years int) error {
	if years == 0 {
		return nil
	}
	t := c.schedule.Table
	board, err := boardOf(t.Board)
	if err != nil {
		fmt.Fprintf(a.out, "not rehearsed: %v\n", err)
		return nil
	}
	r := scenario.Rehearsal{Table: c.bytes, Board: board, Years: years}
	if r.Firmware, err = a.firmware("", board.Name); err != nil {
		return fmt.Errorf("the firmware for %s to rehearse with: %w; --rehearse 0 does without", board.Name, err)
	}
	if r.From, err = rehearseFrom(t, ""); err != nil {
		return err
	}
	bar := a.progress("rehearsing", table.Day(r.From/table.MinutesPerDay))
	r.Progress = bar.at
	report, err := scenario.Rehearse(r)
	bar.done()
	if err != nil {
		return fmt.Errorf("the firmware does not serve what the table says; nothing was uploaded\n%w", err)
	}
	fmt.Fprintf(a.out, "rehearsed on the firmware through %s: %s as replayed\n", count(years, "year"), count(report.Servings, "serving"))
	return nil
}

// upload shows the change, asks, and puts the table on one board.
func (s *session) upload(c *cargo, yes bool) error {
	if err := s.Check(c.bytes); err != nil {
		return err
	}
	st, err := s.Status()
	if err != nil {
		return err
	}
	old, err := s.Table(st)
	if err != nil && !errors.Is(err, flasher.ErrNoTable) {
		return err
	}
	switch {
	case old != nil && flasher.Holds(old, c.bytes):
		fmt.Fprintf(&s.out, "%s holds this table already\n", s.Port())
	default:
		s.showChange(c, old, st)
		if !yes && !s.ask(fmt.Sprintf("Put the new table on the feeder on %s?", s.Port())) {
			return errors.New("nothing was written")
		}
		if err := s.transfer(c.bytes, st); err != nil {
			return err
		}
	}
	if err := s.setClock(); err != nil {
		return fmt.Errorf("%s: the table is in force, but the clock could not be set: %w", s.Port(), err)
	}
	return s.showNext(c.schedule, "Next servings, as the feeder itself computes them")
}

// transfer uploads with a progress bar, if one person looks at one board.
func (s *session) transfer(tab []byte, st flasher.Status) error {
	began := time.Now()
	var bar *progressbar.ProgressBar
	err := s.Upload(tab, st, func(step flasher.Step, done, total int) {
		if !isTerminal(s.a.err) || step > flasher.ReadingBack {
			return
		}
		if bar == nil {
			bar = progressbar.NewOptions(2*total, progressbar.OptionSetWriter(s.a.err), progressbar.OptionSetWidth(30),
				progressbar.OptionSetDescription(s.Port()), progressbar.OptionClearOnFinish())
		}
		_ = bar.Set(int(step)*total + done)
	})
	if bar != nil {
		_ = bar.Finish()
	}
	if err != nil {
		return err
	}
	fmt.Fprintf(&s.out, "%d bytes written, read back and put in force in %.1f s\n", len(tab), time.Since(began).Seconds())
	return nil
}

func (s *session) setClock() error {
	r, err := s.SetClock()
	if err != nil {
		return err
	}
	fmt.Fprintf(&s.out, "clock set: %s\n", offsetText(r))
	return nil
}

// showChange says what the new table will do that the old one does not.
func (s *session) showChange(c *cargo, old []byte, st flasher.Status) {
	next, err := raise.Raise(c.bytes, c.db, raise.Options{Names: c.schedule.Names, Zones: c.zones(), Always: true})
	if err != nil {
		fmt.Fprintf(&s.out, "  the meals cannot be said in words: %v\n", err)
		return
	}
	var held *serving.Schedule
	if old != nil {
		held, err = tableSchedule(old)
	}
	if old == nil || err != nil {
		fmt.Fprint(&s.out, "  the feeder has no table yet\n")
		for _, change := range raise.Changes(nothing, next.Plan) {
			s.showMeal(change)
		}
	} else {
		s.compare(c, old, held, next)
	}
	s.showFood(held, c.schedule, st)
	s.showServings(held, c.schedule, st)
}

// zones are the likely names of the table's zone.
func (c *cargo) zones() []string {
	if c.compiled != nil {
		return []string{c.compiled.plan.Zone}
	}
	return likelyZones("")
}

// nothing is the plan of a feeder without a table.
var nothing = &plan.Plan{}

func (s *session) compare(c *cargo, old []byte, held *serving.Schedule, next *raise.Raised) {
	before, err := raise.Raise(old, c.db, raise.Options{Zones: []string{next.Plan.Zone}, Always: true})
	if err != nil {
		fmt.Fprintf(&s.out, "  the meals on the feeder cannot be said in words: %v\n", err)
		return
	}
	for _, change := range raise.Changes(before.Plan, next.Plan) {
		s.showMeal(change)
	}
	for _, line := range otherChanges(held.Table, c.schedule.Table) {
		fmt.Fprintf(&s.out, "  %s\n", line)
	}
}

func (s *session) showMeal(c raise.Change) {
	m := c.New
	if m == nil {
		m = c.Old
	}
	name := serving.Pad(m.Name, min(max(12, utf8.RuneCountInString(m.Name)), 24))
	s.out.WriteString(wrap(fmt.Sprintf("  %-9s  %s  ", c.Kind, name), c.Words()))
}

// otherChanges are those that are not about meals.
func otherChanges(old, next *table.Table) (lines []string) {
	if zoneKey(old) != zoneKey(next) {
		lines = append(lines, "the clock changes of the zone are others")
	}
	if old.Late != next.Late {
		lines = append(lines, fmt.Sprintf("a missed serving is given up to %d min late, was %d min", next.Late, old.Late))
	}
	if old.Wheel != next.Wheel && (pocketMg(old) != pocketMg(next) || old.Wheel.TurnMillis != next.Wheel.TurnMillis || old.Wheel.TrimMicros != next.Wheel.TrimMicros) {
		lines = append(lines, "the wheel's calibration is another")
	}
	if old.Presets != next.Presets {
		lines = append(lines, fmt.Sprintf("presets: %d, were %d", max(next.Presets, 1), max(old.Presets, 1)))
	}
	return lines
}

func zoneKey(t *table.Table) string {
	dst := ""
	if t.Zone.DST != nil {
		dst = fmt.Sprint(*t.Zone.DST)
	}
	return fmt.Sprint(t.Zone.Standard, t.Zone.GapOmit, dst, t.Zone.Overrides)
}

func pocketMg(t *table.Table) uint32 { return t.Wheel.PocketUnits * t.Wheel.UnitMg }

// foodDays is the time over which food a day is averaged: four weeks have every weekday as often.
const foodDays = 28

// showFood compares food a day, in the preset and with the adjustment in force.
func (s *session) showFood(held, next *serving.Schedule, st flasher.Status) {
	after := perDay(next, moment.Minute(s.a.now), st)
	if held == nil {
		fmt.Fprintf(&s.out, "  food       %s a day\n", after)
		return
	}
	before := perDay(held, moment.Minute(s.a.now), st)
	if before == after {
		fmt.Fprintf(&s.out, "  food       %s a day, as before\n", after)
		return
	}
	fmt.Fprintf(&s.out, "  food       %s a day, was %s (the next %d days)\n", after, before, foodDays)
}

// perDay is the average of the next weeks as a weight, or in pockets where that is all the table knows.
func perDay(sch *serving.Schedule, now table.Minute, st flasher.Status) string {
	t := sch.Table
	c := replay.New(t, replay.Options{From: now, To: now + foodDays*table.MinutesPerDay, Preset: presetOf(t, st), Adjust: st.Adjust})
	units, pockets := int64(0), 0
	for {
		due, ok := c.Next()
		if !ok {
			break
		}
		for _, m := range due.Meals {
			units += int64(m.Units)
		}
		pockets += due.Pockets()
	}
	if t.Wheel.UnitMg == 0 {
		return fmt.Sprintf("%.1f pockets", float64(pockets)/foodDays)
	}
	grams := float64(units) * float64(t.Wheel.UnitMg) / 1000 * float64(st.Adjust) / 10 / foodDays
	return strings.TrimSuffix(fmt.Sprintf("%.1f", grams), ".0") + " g"
}

// presetOf is the preset in force, as far as a table has it.
func presetOf(t *table.Table, st flasher.Status) int {
	if t.Presets == 0 {
		return replay.AllPresets
	}
	return st.Preset % t.Presets
}

// showServings puts the next servings of both tables side by side.
func (s *session) showServings(held, next *serving.Schedule, st flasher.Status) {
	now := moment.Minute(s.a.now)
	after := servingLines(next, now, st)
	if held == nil {
		fmt.Fprint(&s.out, "  next servings\n")
		for _, line := range after {
			fmt.Fprintf(&s.out, "    %s\n", line)
		}
		return
	}
	before := servingLines(held, now, st)
	fmt.Fprintf(&s.out, "    %-38s %s\n", "next servings now", "and with the new table")
	for i := range shownOwn {
		var left, right string
		if i < len(before) {
			left = before[i]
		}
		if i < len(after) {
			right = after[i]
		}
		if left+right != "" {
			fmt.Fprintln(&s.out, strings.TrimRight(fmt.Sprintf("    %s %s", serving.Pad(left, 38), right), " "))
		}
	}
}

func servingLines(sch *serving.Schedule, now table.Minute, st flasher.Status) (lines []string) {
	c := replay.New(sch.Table, replay.Options{From: now + 1, To: now + 366*table.MinutesPerDay, Preset: presetOf(sch.Table, st), Adjust: st.Adjust, Carry: int64(st.Carry)})
	for len(lines) < shownOwn {
		due, ok := c.Next()
		if !ok {
			break
		}
		o := sch.Clock.At(table.Epoch + 60*int64(due.At))
		local := due.At.Time().In(time.FixedZone(o.Abbrev, o.Seconds))
		lines = append(lines, fmt.Sprintf("%s  %s", local.Format("Mon 2006-01-02 15:04"), serving.PocketWord(due.Pockets())))
	}
	return lines
}
