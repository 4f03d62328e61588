package main

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/compiler/advice"
	"mealtab/compiler/once"
	"mealtab/compiler/plan"
	"mealtab/compiler/reader"
	"mealtab/compiler/report/serving"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
)

// onceFlags are those of the commands that change a plan for one time.
type onceFlags struct {
	meal           string
	dryRun, send   bool
	upload         uploadFlags
	until, portion string // skip; move
	undo           bool
	presets        []string // extra
}

func (f *onceFlags) register(flags *pflag.FlagSet) {
	flags.StringVar(&f.meal, "meal", "", "`NAME` of the meal meant, where several are served then")
	flags.BoolVarP(&f.dryRun, "dry-run", "n", false, "say what would change and write nothing")
	flags.BoolVar(&f.send, "upload", false, "then put the plan on the feeder, as mealtab upload does")
	f.upload.portFlags.register(flags)
	flags.BoolVarP(&f.upload.yes, "yes", "y", false, "with --upload: do not ask")
}

func (a *app) skipCommand() *cobra.Command {
	var f onceFlags
	cmd := &cobra.Command{
		Use:   "skip PLAN WHEN",
		Short: "Leave servings out once: tomorrow morning, a weekend",
		Long: `Write into a plan that some servings are left out this once, and say which. WHEN is a time at which
something is served, or a day: then all its servings that are still to come; --until goes on to a time of
that day, or through a later day. The plan's own text stays as it is but for those dates.

Nothing is written before it is proved that nothing else changes, to the end of 2099, and that the
feeder's table holds it. --undo serves again what was left out.

An animal that misses a meal is still there in the morning: see that somebody feeds it, or that it was
meant. An animal with diabetes or another illness misses none without its veterinarian's word.`,
		Example: `  mealtab skip plan.toml tomorrow --until 12:00     not tomorrow morning
  mealtab skip plan.toml friday --until sunday      three days away, somebody feeds by hand
  mealtab skip plan.toml "tomorrow 18:30" --upload  and put it on the feeder
  mealtab skip plan.toml tomorrow --undo            as before`,
		Args: wants("PLAN", "WHEN"),
		RunE: func(_ *cobra.Command, args []string) error {
			return a.changeOnce(args[0], &f, func(w *wish) error { return w.skip(args[1]) })
		},
	}
	f.register(cmd.Flags())
	cmd.Flags().StringVar(&f.until, "until", "", "leave out all before `T`: a time of the same day (12:00), a day (through its end), or "+moment.Forms)
	cmd.Flags().BoolVar(&f.undo, "undo", false, "serve again what is left out then")
	return cmd
}

func (a *app) moveCommand() *cobra.Command {
	var f onceFlags
	cmd := &cobra.Command{
		Use:   "move PLAN WHEN TO",
		Short: "Serve once at another time, or once another portion",
		Long: `Write into a plan that one serving is given at another time this once, or with --portion that it is
another portion. WHEN is the time of the serving, or its day where the meal is served once on it; TO is a
time of the same day (20:00), or of another. The plan's own text stays as it is but for those dates.

Nothing is written before it is proved that nothing else changes, to the end of 2099.`,
		Example: `  mealtab move plan.toml "tomorrow 18:30" 20:00
  mealtab move plan.toml "sat 07:00" "sat 09:30" --meal breakfast
  mealtab move plan.toml "tomorrow 18:30" 18:30 --portion "10 g"`,
		Args: wants("PLAN", "WHEN", "TO"),
		RunE: func(_ *cobra.Command, args []string) error {
			return a.changeOnce(args[0], &f, func(w *wish) error { return w.move(args[1], args[2]) })
		},
	}
	f.register(cmd.Flags())
	cmd.Flags().StringVar(&f.portion, "portion", "", "another `PORTION` this once, as a plan writes it: \"10 g\" or \"2 pockets\"")
	return cmd
}

func (a *app) extraCommand() *cobra.Command {
	var f onceFlags
	cmd := &cobra.Command{
		Use:   "extra PLAN WHEN [PORTION]",
		Short: "Serve something more, once",
		Long: `Write into a plan that something is served once more: a PORTION, or with --meal a meal of the plan with
its own portion. Portions of the same size go into one meal of single dates, which is made for the first.

Nothing is written before it is proved that nothing else changes, to the end of 2099. mealtab skip takes
an extra serving back.`,
		Example: `  mealtab extra plan.toml "tomorrow 15:00" "10 g"
  mealtab extra plan.toml 2026-12-25T10:00 --meal breakfast`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) < 2 || len(args) > 3 {
				return errors.New("PLAN and WHEN are wanted, and a PORTION or --meal NAME")
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			return a.changeOnce(args[0], &f, func(w *wish) error { return w.extra(args[1], strings.Join(args[2:], "")) })
		},
	}
	f.register(cmd.Flags())
	cmd.Flags().StringSliceVar(&f.presets, "preset", nil, "serve it only with the preset `NAME`; may be repeated (default: with all)")
	return cmd
}

// wants wants so many arguments and says which are missing.
func wants(names ...string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		switch {
		case len(args) < len(names):
			return fmt.Errorf("%s is missing", names[len(args)])
		case len(args) > len(names):
			return fmt.Errorf("%s are wanted, there are %d arguments; a time with a blank in it stands in quotation marks: \"tomorrow 18:30\"", strings.Join(names, ", "), len(args))
		}
		return nil
	}
}

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
	fmt.Fprintf(w.a.out, "%s is written; proved: nothing else changes, through %s\n", w.name, table.Day(table.MaxDay))
	if w.f.send {
		w.f.upload.years = 10
		return w.a.runUpload(w.name, w.f.upload)
	}
	_, err = fmt.Fprintf(w.a.out, "The feeder knows nothing of it yet: mealtab upload %s\n", w.name)
	return err
}

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
	if len(list) == 0 {
		return w.nothing(from, to)
	}
	if err := w.change.Skip(list...); err != nil {
		return err
	}
	w.list("Left out this once", w.l.plan, list)
	w.rest(from, to)
	return w.skippedBack(when, list, from, to)
}

// skippedBack says how what was left out is served again: dates of a rule by --undo, extra dates anew.
func (w *wish) skippedBack(when string, list []once.Serving, from, to int64) error {
	left, err := once.LeftOut(w.change.Plan(), w.l.zone, from, to)
	if err != nil {
		return err
	}
	undo := false
	for _, s := range list {
		if slices.ContainsFunc(left, func(o once.Serving) bool {
			return o.Unix == s.Unix && w.change.Plan().Meals[o.Meal].Name == w.l.plan.Meals[s.Meal].Name
		}) {
			undo = true
			continue
		}
		m := &w.l.plan.Meals[s.Meal]
		w.back("extra", fmt.Sprintf("%s %q", w.iso(s.Unix), m.Portion))
	}
	if undo {
		w.back("skip", w.words(when)+" --undo")
	}
	return nil
}

// back says which command takes a change back.
func (w *wish) back(command, rest string) {
	fmt.Fprintf(&w.out, "To take it back: mealtab %s %s %s\n", command, w.name, rest)
}

// iso is the local time of an instant as a command takes it.
func (w *wish) iso(unix int64) string { return w.local(unix).Format("2006-01-02T15:04") }

// words repeats what was typed, for a command that takes it back: dates, because tomorrow will be another day.
func (w *wish) words(when string) string {
	m, err := moment.Parse(when, w.l.zone, w.a.now)
	if err != nil {
		return when
	}
	text := w.iso(m.At.Unix())
	if m.Whole {
		text = text[:10]
	}
	if w.f.until != "" {
		_, to, err := w.span(when)
		if err == nil {
			text += " --until " + w.iso(to)
		}
	}
	if w.f.meal != "" {
		text += fmt.Sprintf(" --meal %q", w.f.meal)
	}
	return text
}

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
			return 0, 0, usagef("--until %s is not after %s", w.f.until, when)
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
	w.back("move", fmt.Sprintf("%s %s --meal %q", w.iso(moved.Unix), w.iso(s.Unix), w.l.plan.Meals[s.Meal].Name))
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
	w.back("skip", fmt.Sprintf("%s --meal %q, and mealtab skip %s %s --meal %q --undo", w.iso(given.Unix), w.change.Plan().Meals[given.Meal].Name, w.name, w.iso(s.Unix), m.Name))
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
	w.back("skip", fmt.Sprintf("%s --meal %q", w.iso(s.Unix), w.change.Plan().Meals[s.Meal].Name))
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

// nominal is the local time of an instant, in seconds.
func (w *wish) nominal(unix int64) int64 { return unix + int64(w.l.zone.At(unix).Seconds) }

func (w *wish) ofMeal(list []once.Serving) ([]once.Serving, error) {
	if w.f.meal == "" {
		return list, nil
	}
	meal, err := w.mealNamed(w.f.meal)
	return slices.DeleteFunc(list, func(s once.Serving) bool { return s.Meal != meal }), err
}

func (w *wish) mealNamed(name string) (int, error) {
	var names []string
	for i := range w.l.plan.Meals {
		if w.l.plan.Meals[i].Name == name {
			return i, nil
		}
		names = append(names, w.l.plan.Meals[i].Name)
	}
	return 0, usagef("--meal: there is no meal %q; %s", name, advice.DidYouMean(name, names, nil))
}

// nothing says that nothing is served then, and what comes next.
func (w *wish) nothing(from, to int64) error {
	list, err := once.Servings(w.l.plan, w.l.zone, to, to+14*86400)
	if list, err2 := w.ofMeal(list); err == nil && err2 == nil && len(list) > 0 {
		s := list[0]
		return fmt.Errorf("nothing is served %s; next comes %s, %s", w.between(from, to), w.stamp(s.Unix), w.l.plan.Meals[s.Meal].Name)
	}
	return cmp.Or(err, fmt.Errorf("nothing is served %s, nor in the two weeks after", w.between(from, to)))
}

func (w *wish) cannot(s once.Serving, err error) error {
	return fmt.Errorf("%s, %s: %w", w.stamp(s.Unix), w.l.plan.Meals[s.Meal].Name, err)
}

func (w *wish) local(unix int64) time.Time { return serving.Local(w.l.zone, time.Unix(unix, 0)) }

func (w *wish) stamp(unix int64) string { return w.local(unix).Format("Mon 2006-01-02 15:04") }

func (w *wish) between(from, to int64) string {
	if to-from <= 60 {
		return "at " + w.stamp(from)
	}
	return fmt.Sprintf("from %s to %s", w.stamp(from), w.stamp(to))
}

// list writes servings under a heading.
func (w *wish) list(heading string, p *plan.Plan, list []once.Serving) {
	const most = 40
	fmt.Fprintln(&w.out, heading)
	for _, s := range list[:min(len(list), most)] {
		m := &p.Meals[s.Meal]
		fmt.Fprintf(&w.out, "  %s  %s  %s%s\n", w.stamp(s.Unix), m.Name, m.Portion, inPresets(p, m))
	}
	if left := len(list) - most; left > 0 {
		fmt.Fprintf(&w.out, "  and %s more\n", units.Thousands(left))
	}
}

// day says what its local date serves after the change.
func (w *wish) day(unix int64) {
	date := w.local(unix)
	from, _ := w.l.zone.Resolve(time.Date(date.Year(), date.Month(), date.Day(), 0, 0, 0, 0, time.UTC).Unix())
	to, _ := w.l.zone.Resolve(time.Date(date.Year(), date.Month(), date.Day()+1, 0, 0, 0, 0, time.UTC).Unix())
	w.after(from, to)
}

// rest says what the days of a span still serve, where it is short enough to read.
func (w *wish) rest(from, to int64) {
	if to-from <= 8*86400 {
		first, last := w.local(from), w.local(to-1)
		a, _ := w.l.zone.Resolve(time.Date(first.Year(), first.Month(), first.Day(), 0, 0, 0, 0, time.UTC).Unix())
		b, _ := w.l.zone.Resolve(time.Date(last.Year(), last.Month(), last.Day()+1, 0, 0, 0, 0, time.UTC).Unix())
		w.after(a, b)
	}
}

func (w *wish) after(from, to int64) {
	p := w.change.Plan()
	list, err := once.Servings(p, w.l.zone, from, to)
	switch days := int(math.Round(float64(to-from) / 86400)); {
	case err != nil:
	case len(list) == 0 && days == 1:
		fmt.Fprintf(&w.out, "Nothing is served that day (%s).\n", w.local(from).Format("Mon 2006-01-02"))
	case len(list) == 0:
		fmt.Fprintf(&w.out, "Nothing is served on these %d days.\n", days)
	case days == 1:
		w.list("That day then", p, list)
	default:
		w.list("Those days then", p, list)
	}
}
