package draft

import "mealtab/compiler/plan"

// maxDaily is how many servings a day are compiled: one a minute, all meals together. A century of them is proved in seconds; what
// asks for more is no plan of meals, and its proof would take minutes.
const maxDaily = 24 * 60

// checkBusy refuses the meal with which a plan has more servings a day than are proved.
func (b *Builder) checkBusy(set *Set, r *plan.Recurrence) {
	before := b.daily
	b.daily += mostDaily(r)
	if before > maxDaily || b.daily <= maxDaily {
		return
	}
	at := set.Heading
	if set.HasRule {
		at = set.RuleText.All()
	}
	b.Fail(plan.CodeLimit, at, "serve less often", "with this meal the plan may serve %d times a day; %d, one a minute, are the most that are compiled and proved", b.daily, maxDaily)
}

// mostDaily is the most instances of a rule on one day: never too few.
func mostDaily(r *plan.Recurrence) int {
	rule := r.Rule
	if rule == nil {
		return 0 // single dates
	}
	inDay := orNumber(len(rule.ByHour), 24) * orNumber(len(rule.ByMinute), 60)
	switch rule.Freq {
	case plan.Hourly:
		return min(orNumber(len(rule.ByHour), 24), (23+rule.Interval)/rule.Interval) * orNumber(len(rule.ByMinute), 1)
	case plan.Minutely:
		return min(inDay, (24*60-1+rule.Interval)/rule.Interval)
	case plan.Secondly:
		minutes := rule.Interval / gcd(rule.Interval, 60) // between two that are on whole minutes
		return min(inDay, (24*60-1+minutes)/minutes)
	}
	return len(r.TimesOfDay())
}

func orNumber(n, otherwise int) int {
	if n == 0 {
		return otherwise
	}
	return n
}
