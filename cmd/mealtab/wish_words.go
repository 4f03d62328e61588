package main

import (
	"cmp"
	"fmt"
	"math"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"time"

	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/compiler/advice"
	"mealtab/compiler/once"
	"mealtab/compiler/plan"
	"mealtab/compiler/report/serving"
	"mealtab/compiler/units"
)

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

// day says what the local date of an instant serves after the change.
func (w *wish) day(unix int64) { w.rest(unix, unix+1) }

// rest says what the days of a span still serve, where it is short enough to read.
func (w *wish) rest(from, to int64) {
	if to-from <= 8*86400 {
		w.after(w.midnight(from, 0), w.midnight(to-1, 1))
	}
}

// midnight is the instant at which the local date of an instant begins, or one so many days later.
func (w *wish) midnight(unix int64, later int) int64 {
	date := w.local(unix)
	at, _ := w.l.zone.Resolve(time.Date(date.Year(), date.Month(), date.Day()+later, 0, 0, 0, 0, time.UTC).Unix())
	return at
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

// back says which command takes a change back.
func (w *wish) back(command, rest string) {
	fmt.Fprintf(&w.out, "To take it back: mealtab %s %s %s\n", command, pasted(w.name), rest)
}

// plainWord is what every shell leaves as it is.
var plainWord = regexp.MustCompile(`^[\pL\pN_./:@%+=,-]+$`)

// pasted is a word as it can be pasted into a shell.
func pasted(s string) string {
	switch {
	case plainWord.MatchString(s):
		return s
	case runtime.GOOS == "windows":
		return `"` + strings.ReplaceAll(s, `"`, `\"`) + `"`
	}
	return "'" + strings.ReplaceAll(s, "'", `'\''`) + "'"
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
		text += " --meal " + pasted(w.f.meal)
	}
	return text
}
