package main

import (
	"fmt"
	"time"

	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/cmd/mealtab/internal/remarks"
	"mealtab/cmd/mealtab/internal/tablefile"
	"mealtab/compiler"
	"mealtab/compiler/advice"
	"mealtab/compiler/plan"
	"mealtab/compiler/profile"
	"mealtab/compiler/reader"
	"mealtab/compiler/report/serving"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
	"mealtab/emulator/avr"
	"mealtab/firmware-template/image"
)

// loaded is a plan with its zone.
type loaded struct {
	plan        *plan.Plan
	zone        *zone.Zone
	db          *zone.Database
	diagnostics plan.Diagnostics // warnings of reading, and of the zone data
}

// readPlan reads a plan's file; see [app.loadPlan].
func (a *app) readPlan(name string) (*loaded, error) {
	src, err := a.read(name)
	if err != nil {
		return nil, err
	}
	return a.loadPlan(name, src)
}

// loadPlan reads a plan. Its errors are printed; warnings are left to the caller.
func (a *app) loadPlan(name string, src []byte) (*loaded, error) {
	if tablefile.Held(src) {
		return nil, fmt.Errorf("%s is a table, not a plan: mealtab listing or replay shows it", name)
	}
	db, err := a.database()
	if err != nil {
		return nil, err
	}
	p, ds := reader.With(db).Parse(name, src)
	if p == nil {
		if err := a.report(ds); err != nil {
			return nil, err
		}
		return nil, errReported
	}
	z, err := db.Load(p.Zone)
	if err != nil {
		return nil, err
	}
	ds = append(ds, remarks.Zones(z, a.now, p.Source, p.Where.Zone)...)
	return &loaded{p, z, db, ds}, nil
}

// compileOptions are the flags that choose a table.
type compileOptions struct {
	board string // "": the plan's
	from  string // "": see firstDay
}

// compiled is a plan with its proved table.
type compiled struct {
	*loaded
	*compiler.Output
	board *profile.Profile
}

func (a *app) compile(l *loaded, o compileOptions) (*compiled, error) {
	board, err := a.profile(l.plan, o.board)
	if err != nil {
		return nil, err
	}
	from := remarks.FirstDay(l.db)
	if o.from != "" {
		if from, err = moment.Date(o.from); err != nil {
			return nil, usagef("--from: %v", err)
		}
	}
	bar := a.progress("proving", from)
	out, err := compiler.Compile(l.plan, l.zone, compiler.Options{Board: board, From: from, Progress: bar.at})
	bar.done()
	if err != nil {
		return nil, err
	}
	return &compiled{l, out, board}, nil
}

// profile loads the board's profile: the one asked for, else the plan's. A fault of the plan's is shown in the plan.
func (a *app) profile(p *plan.Plan, asked string) (*profile.Profile, error) {
	if asked != "" {
		return askedBoard(asked)
	}
	board, err := profile.LoadFor(p.Source.Name, p.Board)
	if err == nil {
		return board, nil
	}
	problem, hint := advice.Apart(err)
	d := plan.Diagnostic{Code: plan.CodeName, Severity: plan.Error, Source: p.Source, Pos: p.Where.Board, Message: problem, Hint: hint}
	if err := a.report(plan.Diagnostics{d}); err != nil {
		return nil, err
	}
	return nil, errReported
}

// askedBoard is the board of a command line: a name that there is not is a fault of that, a fault in a file one of the input.
func askedBoard(nameOrPath string) (*profile.Profile, error) {
	p, err := profile.Load(nameOrPath)
	if err != nil && !profile.IsPath(nameOrPath) {
		return nil, usagef("--board: %v", err)
	}
	return p, err
}

// boardFor is the board that a table runs on: the one that was asked for, else the plan's, else the first for which the table was made.
func boardFor(asked string, c *compiled, code uint8) (*profile.Profile, error) {
	switch {
	case asked != "":
		return askedBoard(asked)
	case c != nil:
		return c.board, nil
	}
	if b, ok := profile.ByCode(code); ok {
		return b, nil
	}
	return nil, fmt.Errorf("the table is for board %d, which is not one of the firmware template: say with --board where it is described", code)
}

// firmware reads a file, or finds the image made for a board: an embedded one, and not one that is described elsewhere under the same name.
func (a *app) firmware(name string, p *profile.Profile) (*avr.Image, error) {
	var src []byte
	if name != "" {
		var err error
		if src, err = a.read(name); err != nil {
			return nil, err
		}
	} else {
		hex, ok := image.Hex(p.Name)
		if embedded, known := profile.Named(p.Name); !ok || !known || embedded.Header() != p.Header() {
			return nil, noImage(p)
		}
		name, src = p.Name+".hex", hex
	}
	img, err := avr.ReadImage(src)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return img, nil
}

// firmwareNamed is firmware for a board by its name, or the path of its description.
func (a *app) firmwareNamed(name, board string) (*avr.Image, error) {
	p, err := profile.Load(board)
	if err != nil {
		return nil, err
	}
	return a.firmware(name, p)
}

// noImage is the error of a board that is described in a file.
func noImage(p *profile.Profile) error {
	return fmt.Errorf("this program carries no firmware for %s: build it with make -C firmware-template BOARD=%s, and name the image with --firmware", p.Name, p.File)
}

// schedule is the compiled plan as a schedule with names.
func (c *compiled) schedule() *serving.Schedule {
	s := &serving.Schedule{Table: c.Table, Clock: c.zone, Title: c.plan.Name, Zone: c.plan.Zone}
	for _, m := range c.MealOf {
		s.Names = append(s.Names, c.plan.Meals[m].Name)
	}
	return s
}

// loadTable reads a file that may be a table or a plan; of a plan it gives the compiled table.
func (a *app) loadTable(name string) (bytes []byte, c *compiled, err error) {
	return a.loadTableFor(name, "")
}

// loadTableFor is loadTable for a board of which the plan need not know; "": the plan's.
func (a *app) loadTableFor(name, board string) (bytes []byte, c *compiled, err error) {
	src, err := a.read(name)
	if err != nil {
		return nil, nil, err
	}
	if tablefile.Is(name, src) {
		bytes, err = tablefile.Read(src)
		return bytes, nil, err
	}
	l, err := a.loadPlan(name, src)
	if err != nil {
		return nil, nil, err
	}
	if c, err = a.compile(l, compileOptions{board: board}); err != nil {
		return nil, nil, err
	}
	return c.Bytes, c, nil
}

// dataYear is the beginning of the year in which the time zone data at hand were released: it is past for certain.
func (a *app) dataYear() time.Time {
	db, err := a.database()
	if err != nil {
		db = zone.Embedded()
	}
	return (table.Minute(remarks.FirstDay(db)) * table.MinutesPerDay).Time()
}
