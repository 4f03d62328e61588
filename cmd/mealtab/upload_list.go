package main

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/cmd/mealtab/internal/preview"
	"mealtab/compiler/decompile"
	"mealtab/compiler/prose"
	"mealtab/compiler/report/history"
	"mealtab/compiler/report/serving"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
	"mealtab/flasher"
	"mealtab/flasher/ports"
)

// row is a line of a list of feeders.
type row struct {
	line       int
	name, plan string
	port       string // "": wherever the feeder with this name is
}

// readRows reads a list: a line a feeder, with its name, its plan and perhaps its port, between commas. Plans are files beside the list.
func readRows(file string, src []byte) (rows []row, err error) {
	r := csv.NewReader(strings.NewReader(strings.TrimPrefix(string(src), "\uFEFF")))
	r.Comment, r.TrimLeadingSpace, r.FieldsPerRecord = '#', true, -1
	names, ports := map[string]int{}, map[string]int{}
	for {
		fields, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w", file, err)
		}
		line, _ := r.FieldPos(0)
		at := fmt.Sprintf("%s:%d: ", file, line)
		for i := range fields {
			fields[i] = strings.TrimSpace(fields[i])
		}
		if len(fields) < 2 || len(fields) > 3 {
			return nil, fmt.Errorf("%sa line has a feeder's name, its plan and perhaps its port, between commas; this one has %s", at, units.Count(len(fields), "part"))
		}
		n := row{line: line, name: fields[0], plan: fields[1]}
		if len(fields) == 3 {
			n.port = fields[2]
		}
		if len(rows) == 0 && strings.EqualFold(n.name, "name") && strings.EqualFold(n.plan, "plan") {
			continue // the headings of a spreadsheet
		}
		if err := table.CheckName(n.name); err != nil {
			return nil, fmt.Errorf("%s%w", at, err)
		}
		if n.plan == "" {
			return nil, fmt.Errorf("%s%s has no plan", at, n.name)
		}
		if first := names[n.name]; first > 0 {
			return nil, fmt.Errorf("%s%s is on line %d already", at, n.name, first)
		}
		if first := ports[n.port]; first > 0 && n.port != "" {
			return nil, fmt.Errorf("%sthe port %s is on line %d already", at, n.port, first)
		}
		names[n.name], ports[n.port] = line, line
		if !filepath.IsAbs(n.plan) {
			n.plan = filepath.Join(filepath.Dir(file), n.plan)
		}
		rows = append(rows, n)
	}
	if len(rows) == 0 {
		return nil, fmt.Errorf("%s: there is no feeder in it", file)
	}
	return rows, nil
}

// load is what one feeder of a list is to get, and how far it has come.
type load struct {
	row
	cargo      *cargo
	rehearsing *shownRehearsal
	feeder     *flasher.Feeder
	*flasher.Proposal
	err error
}

// runUploadList puts on each feeder of a list its own plan. A feeder that fails holds up none of the others; the same command goes on where it
// ended, for a feeder that has its plan already is left alone.
func (a *app) runUploadList(file string, f uploadFlags) error {
	src, err := a.read(file)
	if err != nil {
		return err
	}
	rows, err := readRows(file, src)
	if err != nil {
		return err
	}
	loads, err := a.loads(rows, f)
	if err != nil {
		return err
	}
	unlisted := a.find(loads, f.portFlags)
	defer closeAll(loads)
	side(loads, func(l *load) { a.proposeLoad(l, f.years) })
	wanted := a.showLoads(loads)
	for _, text := range unlisted {
		fmt.Fprintln(a.err, text)
	}
	if wanted > 0 && !f.yes {
		s := &session{a: a}
		if !s.ask(fmt.Sprintf("Put these plans on %s?", units.Count(wanted, "feeder"))) {
			return errors.New("nothing was written")
		}
	}
	side(loads, func(l *load) { a.put(l, f.setClock) })
	return a.summary(loads)
}

// loads compiles each plan once and begins to rehearse it.
func (a *app) loads(rows []row, f uploadFlags) ([]*load, error) {
	cargos, rehearsals := map[string]*cargo{}, map[string]*shownRehearsal{}
	list := make([]*load, len(rows))
	for i, r := range rows {
		if cargos[r.plan] == nil {
			c, err := a.cargo(r.plan, f.compileOptions)
			if err == nil {
				err = a.zoneAtHand(c, f.zone)
			}
			if err != nil && (c == nil || !f.anyZone) {
				return nil, err
			}
			cargos[r.plan], rehearsals[r.plan] = c, a.startRehearsal(c, f.years)
		}
		list[i] = &load{row: r, cargo: cargos[r.plan], rehearsing: rehearsals[r.plan]}
	}
	return list, nil
}

// side does the same with all, side by side; those that have failed are left out.
func side(list []*load, do func(*load)) {
	var wait sync.WaitGroup
	for _, l := range list {
		if l.err == nil {
			wait.Go(func() { do(l) })
		}
	}
	wait.Wait()
}

func closeAll(list []*load) {
	for _, l := range list {
		if l.feeder != nil {
			l.feeder.Close()
		}
	}
}

// find opens the ports of the list, and where a row has none, those that the flags name or that are likely, to find the names. It returns what
// there is to say of feeders that are not in the list.
func (a *app) find(list []*load, f portFlags) (unlisted []string) {
	taken := map[string]bool{}
	side(list, func(l *load) {
		if l.port != "" {
			l.feeder, l.err = a.openFeeder(l.port)
		}
	})
	byName := map[string][]*load{}
	for _, l := range list {
		if l.port == "" {
			byName[l.name] = append(byName[l.name], l)
		} else {
			taken[l.port] = true
		}
	}
	if len(byName) == 0 {
		return nil
	}
	for _, o := range a.openAll(a.candidates(f, taken)) {
		if o.feeder == nil {
			unlisted = append(unlisted, o.err.Error()+": left alone")
			continue
		}
		name, err := nameOf(o.feeder)
		l := byName[name]
		switch {
		case err == nil && len(l) == 1 && l[0].feeder == nil:
			l[0].feeder, l[0].port = o.feeder, o.port
			continue
		case err == nil && len(l) == 1:
			l[0].err = fmt.Errorf("two feeders have this name, on %s and %s: say in the list which port is meant", l[0].port, o.port)
		case err != nil:
			unlisted = append(unlisted, err.Error()+": left alone")
		case name == "":
			unlisted = append(unlisted, fmt.Sprintf("%s: the feeder has no name, and the list does not name its port: left alone", o.port))
		default:
			unlisted = append(unlisted, fmt.Sprintf("%s: %s is not in the list: left alone", o.port, name))
		}
		o.feeder.Close()
	}
	for name, l := range byName {
		if l[0].feeder == nil && l[0].err == nil {
			l[0].err = fmt.Errorf("no feeder with the name %s was found: is it plugged in? A feeder without a name wants its port in the list", name)
		}
	}
	return unlisted
}

// candidates are the ports on which a feeder is looked for by its name.
func (a *app) candidates(f portFlags, taken map[string]bool) (names []string) {
	all := f.ports
	if len(all) == 0 {
		all, _ = a.feederPorts(f.every) // without a list of ports each name is told as one that was not found
	}
	for _, n := range all {
		if !taken[n] && !taken[ports.ShortName(n)] {
			names = append(names, n)
		}
	}
	return names
}

func nameOf(f *flasher.Feeder) (string, error) {
	st, err := f.Status()
	if err != nil {
		return "", err
	}
	return f.Name(st)
}

// propose looks at the feeder, which gets the name of its row.
func (a *app) proposeLoad(l *load, years int) {
	var kept string
	if l.Proposal, kept, l.err = a.propose(l.feeder, l.cargo); l.err != nil {
		return
	}
	l.Name = l.name
	if kept != "" {
		if l.cargo = a.keeping(l.cargo, l.Table); l.Writes() {
			l.rehearsing = a.startRehearsal(l.cargo, years)
		}
	}
}

// showLoads says in a line each what will change, and returns how many feeders are written to.
func (a *app) showLoads(list []*load) (wanted int) {
	for _, l := range list {
		var text string
		switch {
		case l.err != nil:
			text = "is left out: " + l.err.Error()
		case !l.Writes():
			text = "holds this plan already"
		default:
			wanted++
			text = l.changes(a.now)
		}
		a.line(l, text)
	}
	return wanted
}

// line prints a feeder's line.
func (a *app) line(l *load, text string) {
	width := 12
	speaking.Lock()
	defer speaking.Unlock()
	head := fmt.Sprintf("%s%s  ", l.name, strings.Repeat(" ", max(0, width-utf8.RuneCountInString(l.name))))
	fmt.Fprint(a.out, prose.Wrap(head, text))
}

// changes says what the new table changes, in a line.
func (l *load) changes(now time.Time) string {
	c := preview.Of(l.cargo.db, preview.Feeder{Held: l.Held, Status: l.Status, Now: moment.Minute(now)},
		preview.Next{Bytes: l.cargo.bytes, Schedule: l.cargo.schedule, Zones: l.cargo.zones()})
	var parts []string
	if l.Renames() {
		parts = append(parts, map[bool]string{true: "is named", false: fmt.Sprintf("is named, was %s", l.Named)}[l.Named == ""])
	}
	for _, m := range c.Meals {
		if m.Kind != decompile.Same {
			parts = append(parts, fmt.Sprintf("%s: %s", m.Meal().Name, m.Kind))
		}
	}
	if c.Unsaid != "" {
		parts = append(parts, c.Unsaid)
	}
	parts = append(parts, c.Others...)
	if c.FoodBefore != c.FoodAfter {
		parts = append(parts, c.FoodAfter+" a day"+map[bool]string{true: "", false: ", was " + c.FoodBefore}[c.FoodBefore == ""])
	}
	if len(parts) == 0 {
		return "another table for the same meals"
	}
	return strings.Join(parts, "; ")
}

// put stages, waits for the rehearsal, commits, sets the clock, and says in a line what the feeder itself says then.
func (a *app) put(l *load, setClock bool) {
	if l.Writes() {
		staged, err := l.Stage(nil)
		if err == nil {
			err = staged.Commit(l.rehearsed)
		}
		if l.err = err; err != nil {
			a.line(l, err.Error())
			return
		}
	}
	a.line(l, l.after(setClock))
}

// rehearsed waits for the rehearsal of the feeder's plan, which is told once for all feeders with that plan.
func (l *load) rehearsed() error {
	text, err := l.rehearsing.Wait(100*time.Millisecond, func(table.Minute) {})
	l.rehearsing.said.Do(func() {
		speaking.Lock()
		defer speaking.Unlock()
		if text != "" {
			fmt.Fprintf(l.rehearsing.bar.a.out, "%s: %s", l.plan, text)
		}
	})
	return err
}

// after says how the feeder is once it has its plan.
func (l *load) after(setClock bool) string {
	text := fmt.Sprintf("%d bytes read back and in force", len(l.Table))
	if !l.Writes() {
		text = "left as it is"
	} else if !l.NameFits() {
		text += "; the table leaves no room for a name"
	}
	switch _, set, err := l.SetClock(setClock); {
	case err != nil:
		text += "; its clock could not be set: " + err.Error()
	case set:
		text += "; clock set"
	case l.Clock.Need() != flasher.ClockGood:
		text += "; clock: " + preview.Clocks(l.Clock)
	}
	st, err := l.feeder.Status()
	if err != nil {
		return text + "; " + err.Error()
	}
	if st.Faults != 0 {
		text += "; fault: " + history.Faults(st.Faults)
	}
	after := moment.Minute(st.Now)
	next, err := l.feeder.Next(after, min(after+366*table.MinutesPerDay, serving.End(l.cargo.schedule.Table)), 1)
	switch {
	case err != nil:
		return text + "; it could not be asked what comes next: " + err.Error()
	case len(next) == 0:
		return text + "; nothing is due within a year"
	}
	at := serving.Local(l.cargo.schedule.Clock, next[0].At.Time())
	return fmt.Sprintf("%s; next %s %s", text, at.Format(serving.TimeLayout), l.cargo.schedule.MealWords(next[0].Meal, next[0].Meals))
}

// summary says how many have their plan; what failed can be tried again by the same command.
func (a *app) summary(list []*load) error {
	failed := 0
	for _, l := range list {
		if l.err != nil {
			failed++
		}
	}
	if failed == 0 {
		fmt.Fprintf(a.out, "%s: each holds its plan\n", units.Count(len(list), "feeder"))
		return nil
	}
	return fmt.Errorf("%d of %s have their plan; give the same command again for the others: those that have it are left alone", len(list)-failed, units.Count(len(list), "feeder"))
}
