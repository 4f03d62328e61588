package main

import (
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"github.com/spf13/cobra"

	"mealtab/cmd/mealtab/internal/serving"
	"mealtab/cmd/mealtab/internal/tablefile"
	"mealtab/cmd/mealtab/internal/words"
	"mealtab/compiler/raise"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
	"mealtab/emulator/scenario"
	"mealtab/flasher"
)

type uploadFlags struct {
	portFlags
	compileOptions
	yes, anyZone bool
	zone         string
	years        int
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

The rehearsal goes on meanwhile: while you read what changes, and while bytes go beside the old table.
Nothing is put in force before it has ended well.

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
	flags.StringVar(&f.zone, "zone", "", "the feeder is in this `ZONE`: refuse a TABLE with other clock changes (default: any zone's will do)")
	flags.BoolVar(&f.anyZone, "any-zone", false, "upload a TABLE though its clock changes are not those of the time zone data at hand")
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
	if err := a.zoneAtHand(c, f.zone); err != nil && !f.anyZone {
		return err
	}
	trial := a.tryOut(c, f.years)
	return a.each(f.portFlags, func(s *session) error { return s.upload(c, trial, f.yes) })
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
	fmt.Fprintf(a.out, "%s: %d bytes for %s; %s servings proved through %s\n", name, len(c.Bytes), c.board.Name, words.Thousands(c.Proof.Instants), c.Proof.Through)
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
	schedule, err := serving.OfTable(bytes)
	return &cargo{bytes, schedule, db, nil}, err
}

// zoneAtHand refuses a table whose clock changes are, from now on, not those of the zone by the data at hand; "": of no zone. It was made
// with older data, then, or is damaged. A plan has just been compiled with them.
func (a *app) zoneAtHand(c *cargo, name string) error {
	t := c.schedule.Table
	if c.compiled != nil || name == "" && len(raise.Zones(t, c.db, nil)) > 0 {
		return nil
	}
	const cure = "compile the plan again (nothing was written; --any-zone uploads it nevertheless)"
	if name == "" {
		nearest, _, ok := raise.Nearest(t, c.db, likelyZones(""))
		if !ok {
			return fmt.Errorf("the table keeps a clock that no zone of the time zone data at hand (%s) keeps; %s", c.db.Version(), cure)
		}
		name = nearest
	}
	z, err := c.db.Load(name)
	if err != nil {
		return usagef("--zone: %v", err)
	}
	if at, inTable, inData, differs := raise.Differs(z, t, a.now); differs {
		return fmt.Errorf("the table was made with other time zone data: from %s on it has %s, but %s has %s by those at hand (%s); %s",
			at.Format("2006-01-02 15:04 UTC"), utcText(inTable), name, utcText(inData), c.db.Version(), cure)
	}
	return nil
}

// trial is a rehearsal that goes on while the boards are found and read, their owner reads what changes, and the table goes into the spare
// bank. Nothing is committed before its end.
type trial struct {
	bar  *bar
	at   atomic.Int64 // the minute it has come to
	over chan struct{}
	said sync.Once
	text string
	err  error
}

// tryOut rehearses the table on the firmware made for its board.
func (a *app) tryOut(c *cargo, years int) *trial {
	t := &trial{bar: a.progress("rehearsing", 0), over: make(chan struct{})}
	r, text, err := a.rehearsal(c, years)
	if r == nil {
		t.text, t.err = text, err
		close(t.over)
		return t
	}
	t.bar.rehearsing(c.schedule.Table, r)
	t.at.Store(int64(r.From))
	r.Progress = func(m table.Minute) { t.at.Store(int64(m)) }
	go func() {
		defer close(t.over)
		report, err := scenario.Rehearse(*r)
		if err != nil {
			t.err = fmt.Errorf("the firmware does not serve what the table says; nothing was put in force\n%w", err)
			return
		}
		t.text = fmt.Sprintf("rehearsed on the firmware through %s: %s as replayed\n", words.Count(years, "year"), words.Count(report.Servings, "serving"))
	}()
	return t
}

// result waits for the end of the rehearsal and says once how it was.
func (t *trial) result(s *session) error {
	t.said.Do(func() {
		t.wait()
		s.out.WriteString(t.text)
	})
	return t.err
}

// wait shows how far the rehearsal has come: only now, for nobody must draw where a question is asked.
func (t *trial) wait() {
	defer t.bar.done()
	redraw := time.NewTicker(100 * time.Millisecond)
	defer redraw.Stop()
	for {
		select {
		case <-t.over:
			return
		case <-redraw.C:
			t.bar.at(table.Minute(t.at.Load()))
		}
	}
}

// rehearsal is what is to be rehearsed; nil: nothing, and text says why.
func (a *app) rehearsal(c *cargo, years int) (r *scenario.Rehearsal, text string, err error) {
	if years == 0 {
		return nil, "", nil
	}
	t := c.schedule.Table
	board, err := boardOf(t.Board)
	if err != nil {
		return nil, fmt.Sprintf("not rehearsed: %v\n", err), nil
	}
	r = &scenario.Rehearsal{Table: c.bytes, Board: board, Years: years}
	if r.Firmware, err = a.firmware("", board.Name); err != nil {
		return nil, "", fmt.Errorf("the firmware for %s to rehearse with: %w; --rehearse 0 does without", board.Name, err)
	}
	r.From, err = rehearseFrom(t, "")
	if err != nil {
		return nil, "", err
	}
	return r, "", nil
}

// upload shows the change, asks, and puts the table on one board.
func (s *session) upload(c *cargo, trial *trial, yes bool) error {
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
		if err := s.transfer(c.bytes, st, trial); err != nil {
			return err
		}
	}
	if err := s.setClock(); err != nil {
		return fmt.Errorf("%s: the table is in force, but the clock could not be set: %w", s.Port(), err)
	}
	return s.showNext(c.schedule, "Next servings, as the feeder itself computes them")
}

// transfer uploads with a progress bar, if one person looks at one board, and commits when the rehearsal has ended well.
func (s *session) transfer(tab []byte, st flasher.Status, trial *trial) error {
	began := time.Now()
	staged, err := s.stage(tab, st)
	if err != nil {
		return err
	}
	took := time.Since(began)
	if err := trial.result(s); err != nil {
		return err
	}
	began = time.Now()
	if err := staged.Commit(); err != nil {
		return err
	}
	took += time.Since(began)
	fmt.Fprintf(&s.out, "%d bytes written, read back and put in force in %.1f s\n", len(tab), took.Seconds())
	return nil
}

func (s *session) stage(tab []byte, st flasher.Status) (*flasher.Staged, error) {
	bar := s.a.transferBar(s.Port())
	defer bar.done()
	return s.Stage(tab, st, func(step flasher.Step, done, total int) {
		if step == flasher.Writing {
			bar.show(done, total)
		}
	})
}

func (s *session) setClock() error {
	r, err := s.SetClock()
	if err != nil {
		return err
	}
	fmt.Fprintf(&s.out, "clock set: %s\n", offsetText(r))
	return nil
}
