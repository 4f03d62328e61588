// Package rulegen makes random recurrence sets for tests that let two implementations of RFC 5545 meet.
//
// In: a source of random numbers and limits on what to make. Out: a [plan.Recurrence] as package reader would give
// it: the parsed lists ascending and without repetitions, and the same rule as text. Every rule obeys RFC 5545
// §3.3.10 and RFC 7529 §4.1; it may well be empty for ever. No part of the product imports this package.
package rulegen

import (
	"slices"
	"strings"
	"time"

	"mealtab/compiler/plan"
)

// Source is where choices come from: a *rand.Rand of math/rand/v2, or a few lines around rapid's T.
type Source interface {
	IntN(n int) int // 0 to n-1
}

// Options limits what is made. The zero Options makes floating local sets with plain rules of every FREQ.
type Options struct {
	Freqs        []plan.Freq // nil: all seven
	Forms        []plan.Form // of DTSTART; nil: Zoned only
	UntilForms   []plan.Form // nil: Zoned only
	WholeMinutes bool        // no instance falls on a second other than 0
	Skip         bool        // also RSCALE=GREGORIAN;SKIP=…
	At           bool        // also sets with times of day from at
	Explicit     bool        // also RDATE, EXDATE and EXDATE;VALUE=DATE
	NoEnd        bool        // neither COUNT nor UNTIL
	FirstYear    int         // of DTSTART; 0: 2024
	Years        int         // DTSTART lies in that many years from FirstYear; 0: 8
}

// generator holds what is being made.
type generator struct {
	Source
	Options
}

// Recurrence makes one set.
func Recurrence(src Source, o Options) plan.Recurrence {
	g := &generator{src, o}
	form := plan.Zoned
	if len(o.Forms) > 0 {
		form = o.Forms[g.IntN(len(o.Forms))]
	}
	r := plan.Recurrence{Form: form, Start: g.start(form)}
	withAt := o.At && g.one(3)
	r.Rule = g.rule(r.Start, withAt)
	if withAt && r.Rule.Freq >= plan.Daily {
		r.At = g.times()
	}
	if o.Explicit && g.one(2) {
		g.explicit(&r)
	}
	r.Rule.Text = r.Rule.String()
	return r
}

// one is true once in n times.
func (g *generator) one(n int) bool { return g.IntN(n) == 0 }

// start favours the days where months, years and weeks are awkward.
func (g *generator) start(form plan.Form) plan.Local {
	first, years := g.FirstYear, g.Years
	if first == 0 {
		first = 2024
	}
	if years == 0 {
		years = 8
	}
	day := time.Date(first+g.IntN(years), 1, 1+g.IntN(366), 0, 0, 0, 0, time.UTC)
	switch g.IntN(6) {
	case 0: // the last days of a month
		day = time.Date(day.Year(), day.Month()+1, -g.IntN(3), 0, 0, 0, 0, time.UTC)
	case 1: // around the turn of the year
		day = time.Date(day.Year(), 1, g.IntN(8)-3, 0, 0, 0, 0, time.UTC)
	}
	l := plan.Local{Year: day.Year(), Month: int(day.Month()), Day: day.Day()}
	if form != plan.Date {
		l.Hour, l.Minute = g.IntN(24), 5*g.IntN(12)
		if !g.WholeMinutes && g.one(4) {
			l.Second = g.IntN(60)
		}
	}
	return l
}

func (g *generator) times() []int {
	out := make([]int, 1+g.IntN(3))
	for i := range out {
		out[i] = 15 * g.IntN(96)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// explicit adds RDATE and EXDATE values around the start, some of them at the rule's own time of day.
func (g *generator) explicit(r *plan.Recurrence) {
	near := func() plan.Local {
		l := r.Start
		t := time.Date(l.Year, time.Month(l.Month), l.Day+g.IntN(40), l.Hour, l.Minute, l.Second, 0, time.UTC)
		if r.Form != plan.Date && g.one(2) {
			t = t.Add(time.Duration(g.IntN(24)) * time.Hour)
		}
		return plan.AtUnix(t.Unix())
	}
	for range g.IntN(4) {
		r.RDate = append(r.RDate, near())
	}
	for range g.IntN(4) {
		r.ExDate = append(r.ExDate, near())
	}
	for range g.IntN(2) {
		l := near()
		r.ExDays = append(r.ExDays, plan.Local{Year: l.Year, Month: l.Month, Day: l.Day})
	}
	for _, list := range []*[]plan.Local{&r.RDate, &r.ExDate, &r.ExDays} {
		slices.SortFunc(*list, func(a, b plan.Local) int {
			return strings.Compare(a.String(), b.String()) // RFC 3339 sorts as text
		})
		*list = slices.Compact(*list)
	}
}
