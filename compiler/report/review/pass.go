package review

import (
	"fmt"
	"strings"

	"mealtab/compiler/plan"
	"mealtab/compiler/replay"
	"mealtab/compiler/table"
)

// Limits of a good rhythm.
const (
	// A cat or dog that eats nothing for a day needs attention (common veterinary practice). It must be more than a day both in
	// hours and by the clock on the wall: one meal a day at the same time is no fault on the day of 25 hours, nor is one
	// that the clocks have moved.
	longestFast = 24 * 60 // minutes
	// Servings this close together are more often a slip than a wish. Common practice, no source.
	shortestPause = 10 // minutes
)

// stretch is the time between two servings.
type stretch struct {
	from, to table.Minute
	meals    [2]string // before and after
	place    plan.Pos  // of what comes after
}

func (s stretch) minutes() table.Minute { return s.to - s.from }

// pass walks once through the servings of a preset. It begins with the table, because what a serving leaves over is carried
// on: which servings turn the wheel would otherwise depend on when one looks.
func (r *review) pass(preset int) {
	p := passing{until: r.to}
	days := newDays(r)
	cursor := replay.New(r.Table, replay.Options{From: beforeAll, To: r.to, Preset: preset})
	for n := 0; ; {
		s, ok := cursor.Next()
		if !ok {
			break
		}
		if s.At < r.from {
			if s.Pockets() > 0 {
				p.last, p.names, p.before = s.At, r.names(s.Meals), true
			}
			continue
		}
		if n++; n > maxServings {
			p.until = s.At
			break
		}
		days.add(s)
		if s.Pockets() == 0 {
			p.empty++ // no food falls: the pet is as hungry as before
			continue
		}
		names := r.names(s.Meals)
		if p.served > 0 || p.before && s.At > r.from {
			p.see(stretch{p.last, s.At, [2]string{p.names, names}, timesOf(r.meal(s.Meals[0].Meal))}, r)
		}
		p.last, p.names = s.At, names
		p.served++
	}
	r.rhythm(preset, &p)
	r.oddDays(preset, days)
}

// passing is what a walk has seen.
type passing struct {
	served      int          // times that the wheel turns
	empty       int          // servings of no pocket
	until       table.Minute // how far it went
	last        table.Minute
	names       string
	before      bool // last is before the walk's beginning
	fasts       int  // stretches that are too long
	fast, worst stretch
	crowds      int // stretches that are too short
	crowd       stretch
}

func (p *passing) see(s stretch, r *review) {
	if s.minutes() > longestFast && r.nominal(s.to)-r.nominal(s.from) > longestFast {
		if p.fasts == 0 {
			p.fast = s
		}
		if s.minutes() > p.worst.minutes() {
			p.worst = s
		}
		p.fasts++
	}
	if s.minutes() <= shortestPause {
		if p.crowds == 0 {
			p.crowd = s
		}
		p.crowds++
	}
}

// names lists meals for a message.
func (r *review) names(shares []replay.Share) string {
	if len(shares) == 1 {
		return r.meal(shares[0].Meal).Name
	}
	var list []string
	for _, s := range shares {
		list = append(list, r.meal(s.Meal).Name)
	}
	return strings.Join(list, " + ")
}

func (r *review) rhythm(preset int, p *passing) {
	where := r.inPreset(preset)
	if p.served == 0 {
		r.warn(CodeHunger, plan.Pos{}, strings.TrimSuffix(p.small(), "; "), "%snothing is served from %s to %s", where, r.local(r.from), r.local(p.until))
		return
	}
	if p.fasts > 0 {
		r.warn(CodeHunger, plan.Pos{}, p.again(p.fasts, fmt.Sprintf(", at most %s", Duration(p.worst.minutes())))+p.small()+
			"a day without food can harm a pet, a cat above all: add a meal, unless somebody feeds by hand",
			"%snothing is served for %s, from %s to %s", where, Duration(p.fast.minutes()), r.local(p.fast.from), r.local(p.fast.to))
	}
	if p.crowds > 0 {
		r.warn(CodeCrowded, p.crowd.place, p.again(p.crowds, "")+"if both are meant, make them one meal",
			"%s%q is served on %s and %q %d min later", where, p.crowd.meals[0], r.local(p.crowd.from), p.crowd.meals[1], p.crowd.minutes())
	}
}

// small explains servings that are due and give nothing.
func (p *passing) small() string {
	if p.empty == 0 {
		return ""
	}
	return "portions smaller than a pocket are saved up until they fill one; "
}

// again says how often more something happens, at the beginning of a hint.
func (p *passing) again(n int, detail string) string {
	if n == 1 {
		return ""
	}
	return fmt.Sprintf("%s more by %s%s; ", times(n-1), dateText(dayOf(p.until), "2006"), detail)
}
