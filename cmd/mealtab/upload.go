package main

import (
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"mealtab/cmd/mealtab/internal/preview"
	"mealtab/cmd/mealtab/internal/rehearsal"
	"mealtab/cmd/mealtab/internal/tablefile"
	"mealtab/compiler/decompile"
	"mealtab/compiler/prose"
	"mealtab/compiler/report/serving"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
	"mealtab/compiler/zone"
	"mealtab/emulator/avr"
	"mealtab/flasher"
)

type uploadFlags struct {
	portFlags
	compileOptions
	yes, anyZone, setClock bool
	zone, name, list       string
	years                  int
}

func (a *app) uploadCommand() *cobra.Command {
	var f uploadFlags
	cmd := &cobra.Command{
		Use:   "upload PLAN|TABLE|--list FILE",
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

A feeder keeps a name beside its plan, so that several can be told apart. A list has a line for each
feeder: its name, its plan and perhaps its port, between commas. The first time it names the ports,
and names the feeders with it; from then on the names find them. One line a feeder says what changes,
another what it holds then; the same command goes on where it ended.

Pull out the servo's own supply if the board has both it and USB on one rail, and keep fingers and paws
off the wheel: a serving that is due is given.`,
		Example: `  mealtab upload plan.toml
  mealtab upload plan.toml --port /dev/ttyUSB0 --yes
  mealtab upload plan.toml --all               the same plan for every feeder on USB
  mealtab upload plan.toml --name kitchen      and name the feeder
  mealtab upload --list class.csv              each feeder's own plan, by its name`,
		Args: func(cmd *cobra.Command, args []string) error {
			if !cmd.Flags().Changed("list") {
				return one("PLAN or TABLE")(cmd, args)
			}
			if len(args) > 0 {
				return errors.New("--list names the plans: give it without PLAN")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if cmd.Flags().Changed("list") {
				return a.runUploadList(f.list, f)
			}
			return a.runUpload(args[0], f)
		},
	}
	flags := cmd.Flags()
	f.register(flags)
	flags.BoolVarP(&f.yes, "yes", "y", false, "do not ask")
	flags.BoolVar(&f.setClock, "set-clock", false, "set the feeder's clock to this computer's, however far they are apart")
	flags.StringVar(&f.board, "board", "", "board profile: a `NAME`, or the path of a TOML file (default: the plan's)")
	flags.StringVar(&f.from, "from", "", "first `DATE` that the table must serve (default: 1 January of the data's year)")
	flags.StringVar(&f.zone, "zone", "", "the feeder is in this `ZONE`: refuse a TABLE with other clock changes (default: any zone's will do)")
	flags.BoolVar(&f.anyZone, "any-zone", false, "upload a TABLE though its clock changes are not those of the time zone data at hand")
	flags.StringVar(&f.name, "name", "", "`NAME` that the feeder keeps from now on, at most 22 bytes")
	flags.StringVar(&f.list, "list", "", "`FILE` with a line \"name, plan, port\" for each feeder; the port only where the name is not known yet")
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
	if f.name != "" {
		if err := table.CheckName(f.name); err != nil {
			return usagef("--name: %v", err)
		}
		if f.every || len(f.ports) > 1 {
			return usagef("--name names one feeder: give it with one --port, or use --list")
		}
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
	rehearsing := a.startRehearsal(c, f.years)
	return a.each(f.portFlags, func(s *session) error { return s.upload(c, rehearsing, f) })
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
	if err := a.remind(a.warnings(c)); err != nil {
		return nil, err
	}
	fmt.Fprintf(a.out, "%s: %d bytes for %s; %s servings proved through %s\n", name, len(c.Bytes), c.board.Name, units.Thousands(c.Proof.Instants), c.Proof.Through)
	c.keepNames()
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
	if c.compiled != nil || name == "" && len(decompile.Zones(t, c.db, nil)) > 0 {
		return nil
	}
	const cure = "compile the plan again (nothing was written; --any-zone uploads it nevertheless)"
	if name == "" {
		nearest, _, ok := decompile.Nearest(t, c.db, likelyZones(""))
		if !ok {
			return fmt.Errorf("the table keeps a clock that no zone of the time zone data at hand (%s) keeps; %s", c.db.Version(), cure)
		}
		name = nearest
	}
	z, err := c.db.Load(name)
	if err != nil {
		return usagef("--zone: %v", err)
	}
	if at, inTable, inData, differs := decompile.Differs(z, t, a.now); differs {
		return fmt.Errorf("the table was made with other time zone data: from %s on it has %s, but %s has %s by those at hand (%s); %s",
			at.Format("2006-01-02 15:04 UTC"), utcText(inTable), name, utcText(inData), c.db.Version(), cure)
	}
	return nil
}

// shownRehearsal is a rehearsal that goes on while the boards are found and read, their owner reads what changes, and the table goes into the spare
// bank. Nothing is committed before its end, which is told once.
type shownRehearsal struct {
	*rehearsal.Running
	bar  *bar
	said sync.Once
}

// startRehearsal rehearses the table on the firmware made for its board.
func (a *app) startRehearsal(c *cargo, years int) *shownRehearsal {
	t := rehearsal.Start(c.bytes, years, func(board string) (*avr.Image, error) { return a.firmwareNamed("", board) })
	r := &shownRehearsal{Running: t, bar: a.progress("rehearsing", 0)}
	r.bar.from, r.bar.to = t.Span()
	return r
}

// result waits for the end of the rehearsal, shows meanwhile how far it has come, and says once how it was. Only now, for nobody must draw where a
// question is asked.
func (r *shownRehearsal) result(s *session) error {
	r.said.Do(func() {
		text, _ := r.Wait(100*time.Millisecond, r.bar.at)
		r.bar.done()
		s.out.WriteString(text)
	})
	_, err := r.Result()
	return err
}

// upload shows the change, asks, and puts the table on one board.
func (s *session) upload(c *cargo, rehearsing *shownRehearsal, f uploadFlags) error {
	end := s.waiting("reading what the feeder holds")
	p, kept, err := s.a.propose(s.Feeder, c)
	end()
	if err != nil {
		return err
	}
	if kept != "" {
		s.out.WriteString(prose.Wrap("  preset     ", kept))
		if c = s.a.keeping(c, p.Table); p.Writes() {
			rehearsing = s.a.startRehearsal(c, f.years)
		}
	}
	if f.name != "" {
		p.Name = f.name
	}
	s.showName(p)
	if p.Same {
		fmt.Fprintf(&s.out, "%s holds this table already\n", s.Port())
	} else {
		s.showChange(c, p)
	}
	s.out.WriteString(prose.Wrap("  clock      ", preview.ClockNeed(p.Clock)))
	if p.Writes() && !f.yes && !s.ask(fmt.Sprintf("Put the new table on the feeder on %s?", s.Port())) {
		return errors.New("nothing was written")
	}
	setClock := f.setClock || p.Clock.Need() == flasher.ClockLarge && !f.yes && s.ask("Set the feeder's clock to this computer's?")
	if p.Writes() {
		if err := s.transfer(p, rehearsing); err != nil {
			return err
		}
	}
	s.afterwards("its clock could not be set", s.setClock(p, setClock))
	s.afterwards("the feeder could not be asked what comes next", s.showNext(c.schedule, "Next servings, as the feeder itself computes them"))
	return nil
}

// showName says what becomes of the feeder's name.
func (s *session) showName(p *flasher.Proposal) {
	switch {
	case p.Name != "" && !p.NameFits():
		fmt.Fprintf(&s.out, "  name       the table leaves no room for one: %s\n", map[bool]string{true: "the feeder stays without", false: p.Named + " is lost"}[p.Named == ""])
	case p.Renames() && p.Named != "":
		fmt.Fprintf(&s.out, "  name       %s, was %s\n", p.Name, p.Named)
	case p.Name != "":
		fmt.Fprintf(&s.out, "  name       %s\n", p.Name)
	}
}

// transfer uploads with a progress bar, if one person looks at one board, and commits when the rehearsal has ended well.
func (s *session) transfer(p *flasher.Proposal, rehearsing *shownRehearsal) error {
	began := s.Now()
	staged, err := s.stage(p)
	if err != nil {
		return err
	}
	took := s.Now().Sub(began)
	err = staged.Commit(func() error {
		err := rehearsing.result(s)
		began = s.Now()
		return err
	})
	if err != nil {
		return err
	}
	took += s.Now().Sub(began)
	fmt.Fprintf(&s.out, "%d bytes written, read back and put in force in %.1f s\n", len(p.Table), took.Seconds())
	return nil
}

func (s *session) stage(p *flasher.Proposal) (*flasher.Staged, error) {
	bar := s.a.transferBar(s.Port())
	defer bar.done()
	return p.Stage(func(step flasher.Step, done, total int) {
		if step == flasher.Writing {
			bar.show(done, total)
		}
	})
}

// afterwards tells what went wrong once the table was in force: the upload has succeeded all the same.
func (s *session) afterwards(what string, err error) {
	if err != nil {
		fmt.Fprintf(&s.out, "the table is in force, but %s: %v\n", what, err)
	}
}

// setClock sets the clock where that is wanted or needs no question, and says what it did.
func (s *session) setClock(p *flasher.Proposal, wanted bool) error {
	if wanted && p.Clock.Need() == flasher.ClockGood {
		wanted = false
	}
	end := s.waiting("comparing the clocks over several seconds")
	r, set, err := p.SetClock(wanted)
	end()
	switch {
	case err != nil:
		return err
	case set:
		fmt.Fprintf(&s.out, "clock set: %s\n", offsetText(r))
	case p.Clock.Need() == flasher.ClockLarge:
		fmt.Fprintf(&s.out, "the clock was left as it is, %s: where the computer's is right, mealtab clock --set\n", preview.Apart(p.Clock.Offset))
	}
	return nil
}
