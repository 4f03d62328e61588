package main

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/compiler/advice"
	"mealtab/compiler/once"
	"mealtab/compiler/plan"
	"mealtab/compiler/reader"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
)

// wish is a change under way.
type wish struct {
	a      *app
	f      *onceFlags
	name   string
	l      *loaded
	change *once.Change
	out    strings.Builder
}

// changeOnce reads a plan, changes it, proves the change, and writes it.
func (a *app) changeOnce(name string, f *onceFlags, do func(*wish) error) error {
	if name == "-" {
		return usagef("the plan is changed in its file: standard input is none")
	}
	src, err := a.read(name)
	if err != nil {
		return err
	}
	l, err := a.loadPlan(name, src)
	if err != nil {
		return err
	}
	if reader.IsCalendar(name, src) {
		return fmt.Errorf("%s is a calendar, which is changed in the program that wrote it: there, delete or move this one event of the series, export it again, and mealtab check %s shows what will be served", name, name)
	}
	w := &wish{a: a, f: f, name: name, l: l}
	if w.change, err = once.New(src, l.plan, l.zone, w.reread); err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	if err := do(w); err != nil {
		return err
	}
	return w.finish()
}

// reread reads the changed text; what is wrong with it is the change's fault.
func (w *wish) reread(text []byte) (*plan.Plan, error) {
	p, ds := reader.With(w.l.db).Parse(w.name, text)
	if p != nil {
		return p, nil
	}
	for _, d := range ds {
		if d.Severity == plan.Error {
			return nil, errors.New(d.Message)
		}
	}
	return nil, errors.New("the plan could no longer be read")
}

// finish proves, shows and writes.
func (w *wish) finish() error {
	end := w.a.waiting("proving that nothing else changes")
	err := w.change.Verify()
	end()
	if err != nil {
		return fmt.Errorf("nothing was written: %w", err)
	}
	c, err := w.a.compile(&loaded{w.change.Plan(), w.l.zone, w.l.db, w.l.diagnostics}, compileOptions{})
	if err != nil {
		return err
	}
	fmt.Fprint(w.a.out, w.out.String())
	if err := w.a.remind(w.a.warnings(c)); err != nil {
		return err
	}
	if w.f.dryRun {
		_, err = fmt.Fprintf(w.a.out, "%s is as it was: --dry-run writes nothing\n", w.name)
		return err
	}
	if err := w.a.write(w.name, w.change.Text()); err != nil {
		return err
	}
	fmt.Fprintf(w.a.out, "%s is written; proved: nothing else in the plan changes, through %s\n", w.name, table.Day(table.MaxDay))
	if c.Proof.Through < table.MaxDay {
		fmt.Fprintf(w.a.out, "A feeder's table of it is right through %s.\n", c.Proof.Through)
	}
	if w.f.send {
		w.f.upload.years = 10
		return w.a.runUpload(w.name, w.f.upload)
	}
	_, err = fmt.Fprintf(w.a.out, "The feeder knows nothing of it yet: mealtab upload %s\n", pasted(w.name))
	return err
}

// mostAtOnce is how many servings are left out by one command: those of two months with six meals a day.
const mostAtOnce = 400

// skip leaves out, or serves again, what is due at WHEN or from then on until --until.
func (w *wish) skip(when string) error {
	from, to, err := w.span(when)
	if err != nil {
		return err
	}
	if w.f.undo {
		return w.restore(from, to)
	}
	list, err := once.Servings(w.l.plan, w.l.zone, from, to)
	if err != nil {
		return err
	}
	if list, err = w.ofMeal(list); err != nil {
		return err
	}
	switch {
	case len(list) == 0:
		return w.nothing(from, to)
	case len(list) > mostAtOnce:
		return fmt.Errorf("%s are served %s: more than %d single dates make a plan that nobody can read, and a table that is full; give the meal an end (UNTIL in its rrule), or presets for the time away",
			units.Count(len(list), "serving"), w.between(from, to), mostAtOnce)
	}
	if err := w.change.Skip(list...); err != nil {
		return err
	}
	w.list("Left out this once", w.l.plan, list)
	w.rest(from, to)
	return w.skippedBack(when, list, from, to)
}

// skippedBack says how what was left out is served again, and nothing else: dates of a rule by --undo, extra dates anew. What the plan
// left out before stays so.
func (w *wish) skippedBack(when string, list []once.Serving, from, to int64) error {
	left, err := once.LeftOut(w.change.Plan(), w.l.zone, from, to)
	if err != nil {
		return err
	}
	if left, err = w.ofMeal(left); err != nil {
		return err
	}
	if len(left) == len(list) && w.sameMeals() { // nothing was left out before, and nothing has gone for good
		w.back("skip", w.words(when)+" --undo")
		return nil
	}
	for _, s := range list {
		m := &w.l.plan.Meals[s.Meal]
		if slices.ContainsFunc(left, func(o once.Serving) bool { return o.Unix == s.Unix && w.change.Plan().Meals[o.Meal].Name == m.Name }) {
			w.back("skip", w.iso(s.Unix)+" --meal "+pasted(m.Name)+" --undo")
		} else {
			w.back("extra", w.iso(s.Unix)+" "+pasted(m.Portion.String()))
		}
	}
	return nil
}

// sameMeals reports whether no meal has gone with its last date.
func (w *wish) sameMeals() bool { return len(w.change.Plan().Meals) == len(w.l.plan.Meals) }

func (w *wish) restore(from, to int64) error {
	list, err := once.LeftOut(w.l.plan, w.l.zone, from, to)
	if err != nil {
		return err
	}
	if list, err = w.ofMeal(list); err != nil {
		return err
	}
	if len(list) == 0 {
		return fmt.Errorf("nothing is left out %s", w.between(from, to))
	}
	if err := w.change.Restore(list...); err != nil {
		return err
	}
	w.list("Served again", w.change.Plan(), list)
	return nil
}

// span reads WHEN and --until: from <= instant < to, in seconds. What is over is not meant.
func (w *wish) span(when string) (from, to int64, err error) {
	m, err := moment.Parse(when, w.l.zone, w.a.now)
	if err != nil {
		return 0, 0, usagef("WHEN: %v", err)
	}
	from, to = m.At.Unix(), m.End.Unix()
	if !m.Whole {
		to = from + 60
	}
	if w.f.until != "" {
		if to, err = w.end(m); err != nil {
			return 0, 0, err
		}
		if to <= from {
			return 0, 0, usagef("--until %s is not after %s; if another day is meant, name it too: --until \"sat 02:00\"", w.f.until, when)
		}
	}
	now := moment.Minute(w.a.now).Unix()
	if to <= now {
		return 0, 0, fmt.Errorf("%s is over: what has been served cannot be changed", when)
	}
	if m.Whole {
		from = max(from, now)
	}
	return from, to, nil
}

// end reads --until: a time of day of the same date, a day through its end, or a time.
func (w *wish) end(m moment.Moment) (int64, error) {
	if moment.IsTime(w.f.until) {
		at, err := m.Time(w.f.until, w.l.zone)
		return at.At.Unix(), err
	}
	until, err := moment.Parse(w.f.until, w.l.zone, w.a.now)
	if err != nil {
		return 0, usagef("--until: %v", err)
	}
	for moment.IsDayWord(w.f.until) && until.End <= m.At { // friday until sunday: the Sunday after that Friday
		if until, err = moment.Parse(w.local(until.At.Unix()).AddDate(0, 0, 7).Format(time.DateOnly), w.l.zone, w.a.now); err != nil {
			return 0, usagef("--until: %v", err)
		}
	}
	return until.End.Unix(), nil
}

// move serves one serving at another time, or another portion.
func (w *wish) move(when, to string) error {
	s, err := w.single(when)
	if err != nil {
		return err
	}
	at, err := w.target(s, to)
	if err != nil {
		return err
	}
	if w.f.portion != "" {
		return w.exchange(s, at)
	}
	moved, err := w.change.Move(s, at)
	if err != nil {
		return w.cannot(s, err)
	}
	fmt.Fprintf(&w.out, "Moved this once\n  %s  %s  %s\n  to\n  %s\n", w.stamp(s.Unix), w.l.plan.Meals[s.Meal].Name, w.l.plan.Meals[s.Meal].Portion, w.stamp(moved.Unix))
	w.day(moved.Unix)
	w.back("move", fmt.Sprintf("%s %s --meal %s", w.iso(moved.Unix), w.iso(s.Unix), pasted(w.l.plan.Meals[s.Meal].Name)))
	return nil
}

// exchange leaves a serving out and gives another portion.
func (w *wish) exchange(s once.Serving, at int64) error {
	m := &w.l.plan.Meals[s.Meal]
	if err := w.change.Skip(s); err != nil {
		return w.cannot(s, err)
	}
	var presets []string
	for i, name := range w.l.plan.Presets {
		if m.Presets != 0 && m.Presets != 1<<len(w.l.plan.Presets)-1 && m.Presets>>i&1 != 0 {
			presets = append(presets, name)
		}
	}
	given, err := w.change.ExtraPortion(w.f.portion, m.Name+" "+w.f.portion, presets, at)
	if err != nil {
		return w.cannot(s, err)
	}
	fmt.Fprintf(&w.out, "Another portion this once\n  %s  %s  %s\n  becomes\n  %s  %s\n", w.stamp(s.Unix), m.Name, m.Portion, w.stamp(given.Unix), w.f.portion)
	w.day(given.Unix)
	w.back("skip", w.iso(given.Unix)+" --meal "+pasted(w.change.Plan().Meals[given.Meal].Name))
	w.back("skip", w.iso(s.Unix)+" --meal "+pasted(m.Name)+" --undo")
	return nil
}

// extra serves something more.
func (w *wish) extra(when, portion string) error {
	m, err := moment.Parse(when, w.l.zone, w.a.now)
	switch {
	case err != nil:
		return usagef("WHEN: %v", err)
	case m.Whole:
		return usagef("WHEN: %s is a day; say at what time too: \"%s 15:00\"", when, when)
	case (portion == "") == (w.f.meal == ""):
		return usagef("say how much: a PORTION such as \"10 g\", or the meal with --meal NAME, and not both")
	case m.At.Unix() < moment.Minute(w.a.now).Unix():
		return fmt.Errorf("%s is over", when)
	}
	for _, name := range w.f.presets {
		if !slices.Contains(w.l.plan.Presets, name) {
			return usagef("--preset: the plan has no preset %q; %s", name, advice.DidYouMean(name, w.l.plan.Presets, nil))
		}
	}
	nominal := w.nominal(m.At.Unix())
	var s once.Serving
	if portion != "" {
		s, err = w.change.ExtraPortion(portion, "extra "+portion, w.f.presets, nominal)
	} else {
		if len(w.f.presets) > 0 {
			return usagef("--preset goes with a PORTION: a meal has presets of its own")
		}
		var meal int
		if meal, err = w.mealNamed(w.f.meal); err == nil {
			s, err = w.change.Extra(meal, nominal)
		}
	}
	if err != nil {
		return err
	}
	w.list("Served once more", w.change.Plan(), []once.Serving{s})
	w.day(s.Unix)
	w.back("skip", w.iso(s.Unix)+" --meal "+pasted(w.change.Plan().Meals[s.Meal].Name))
	return nil
}

// single is the one serving that WHEN and --meal mean.
func (w *wish) single(when string) (s once.Serving, err error) {
	from, to, err := w.span(when)
	if err != nil {
		return s, err
	}
	list, err := once.Servings(w.l.plan, w.l.zone, from, to)
	if err != nil {
		return s, err
	}
	if list, err = w.ofMeal(list); err != nil {
		return s, err
	}
	switch len(list) {
	case 0:
		return s, w.nothing(from, to)
	case 1:
		return list[0], nil
	}
	var some []string
	for _, s := range list[:min(len(list), 6)] {
		some = append(some, fmt.Sprintf("%s (%s)", w.l.plan.Meals[s.Meal].Name, w.local(s.Unix).Format("15:04")))
	}
	return s, usagef("WHEN: there is more than one serving %s: %s; say which by its time, or by --meal NAME", w.between(from, to), strings.Join(some, ", "))
}

// target is the local time that TO means: a time of the serving's day, or of another.
func (w *wish) target(s once.Serving, to string) (int64, error) {
	at := moment.Moment{At: table.MinuteOf(s.Unix)}
	m, err := moment.Parse(to, w.l.zone, w.a.now)
	if moment.IsTime(to) {
		m, err = at.Time(to, w.l.zone)
	}
	switch {
	case err != nil:
		return 0, usagef("TO: %v", err)
	case m.Whole: // the same time on another day
		if m, err = m.Time(w.local(s.Unix).Format("15:04"), w.l.zone); err != nil {
			return 0, err
		}
	}
	switch {
	case m.At < moment.Minute(w.a.now):
		return 0, fmt.Errorf("%s is over", to)
	case m.At.Unix() == s.Unix && w.f.portion == "":
		return 0, fmt.Errorf("%s is served at %s already", w.l.plan.Meals[s.Meal].Name, to)
	}
	return w.nominal(m.At.Unix()), nil
}
