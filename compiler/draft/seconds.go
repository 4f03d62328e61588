package draft

import (
	"slices"

	"mealtab/compiler/plan"
)

// checkSeconds refuses sets with an instance that is not on a whole minute. Where a rule steps in seconds, the
// seconds it can reach are the start's plus multiples of gcd(INTERVAL, 60): every minute has 60 of them.
func (b *Builder) checkSeconds(s *Set, r *plan.Recurrence) {
	const hint = "the alarm table counts in minutes"
	second := r.Start.Second
	switch {
	case len(r.At) > 0:
		return // the times of day are whole minutes, whatever the start
	case r.Rule == nil:
		if second != 0 {
			b.Fail(plan.CodeSeconds, s.Start.Span, hint, "%s is not on a whole minute: meals are", s.Names.Start)
		}
		return
	case len(r.Rule.BySecond) > 0 && (r.Rule.Freq > plan.Secondly):
		if !slices.Equal(r.Rule.BySecond, []int{0}) {
			b.Fail(plan.CodeSeconds, b.partSpan(s, "BYSECOND"), hint, "BYSECOND puts the meal off the whole minute")
		}
		return
	case r.Rule.Freq > plan.Secondly:
		if second != 0 {
			b.Fail(plan.CodeSeconds, s.Start.Span, hint, "%s is not on a whole minute, and the rule takes its seconds from it", s.Names.Start)
		}
		return
	}
	step := gcd(r.Rule.Interval, 60)
	for sec := 1; sec < 60; sec++ {
		reached := (sec-second)%step == 0
		if reached && (len(r.Rule.BySecond) == 0 || slices.Contains(r.Rule.BySecond, sec)) {
			b.Fail(plan.CodeSeconds, b.partSpan(s, "FREQ"), "FREQ=SECONDLY works with an INTERVAL that is a multiple of 60, or with BYSECOND=0",
				"this rule can fall on second %d of a minute: meals are served on whole minutes", sec)
			return
		}
	}
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}
