package plan

import (
	"fmt"
	"slices"
	"strings"
)

// checkCombinations refuses what the limit/expand table of RFC 5545 §3.3.10 marks N/A and what its prose and
// RFC 7529 §4.1 forbid. It reports at the part that is in the wrong place.
func (p *ruleParser) checkCombinations() {
	freq := p.rule.Freq
	if !p.valid("FREQ") {
		return
	}
	if p.has("COUNT") && p.has("UNTIL") {
		p.conflict("UNTIL", "keep one of the two", "COUNT and UNTIL exclude each other")
	}
	if p.has("BYWEEKNO") && freq != Yearly {
		p.conflict("BYWEEKNO", "week numbers need FREQ=YEARLY", "BYWEEKNO cannot be used with FREQ=%s", FreqNames[freq])
	}
	if p.has("BYYEARDAY") && freq >= Daily && freq <= Monthly {
		p.conflict("BYYEARDAY", "days of the year need FREQ=YEARLY", "BYYEARDAY cannot be used with FREQ=%s", FreqNames[freq])
	}
	if p.has("BYMONTHDAY") && freq == Weekly {
		p.conflict("BYMONTHDAY", "days of the month need FREQ=MONTHLY or FREQ=DAILY", "BYMONTHDAY cannot be used with FREQ=WEEKLY")
	}
	p.checkNumericDays(freq)
	if p.has("BYSETPOS") && !p.hasAnyBy() && !p.besideTimes {
		p.conflict("BYSETPOS", "BYSETPOS picks from what BYDAY, BYMONTHDAY, BYHOUR, … give", "BYSETPOS needs another BY… part")
	}
	if p.has("SKIP") && !p.has("RSCALE") {
		p.conflict("SKIP", "write RSCALE=GREGORIAN;SKIP=…", "SKIP needs RSCALE (RFC 7529 §4.1)")
	}
}

// PartError is a fault of one part of a rule that reads well.
type PartError struct{ Part, Message, Hint string }

// Error is the message without the part's place.
func (e PartError) Error() string { return e.Message }

// ClashesWithTimes are the parts that cannot stand beside times of day from elsewhere (at).
func (r *Rule) ClashesWithTimes() (list []PartError) {
	if r.Freq < Daily {
		return []PartError{{"FREQ", "at cannot be used with FREQ=" + FreqNames[r.Freq], "use FREQ=DAILY with at"}}
	}
	for _, part := range []struct {
		name string
		list []int
	}{{"BYHOUR", r.ByHour}, {"BYMINUTE", r.ByMinute}, {"BYSECOND", r.BySecond}} {
		if len(part.list) > 0 {
			list = append(list, PartError{part.name, "at and " + part.name + " exclude each other", "keep at, or the rule's own times of day"})
		}
	}
	return list
}

// checkNumericDays refuses 2MO and the like where there is no month or year to count in.
func (p *ruleParser) checkNumericDays(freq Freq) {
	if !slices.ContainsFunc(p.rule.ByDay, func(d WeekdayNum) bool { return d.N != 0 }) {
		return
	}
	switch {
	case freq != Monthly && freq != Yearly:
		p.conflict("BYDAY", "use FREQ=MONTHLY for the n-th weekday of a month; every second week is INTERVAL=2",
			"a numbered weekday cannot be used with FREQ=%s", FreqNames[freq])
	case p.has("BYWEEKNO"):
		p.conflict("BYDAY", "the week is already chosen by BYWEEKNO: write the weekday without a number",
			"a numbered weekday cannot be used with BYWEEKNO")
	}
}

func (p *ruleParser) has(name string) bool {
	_, ok := p.at[name]
	return ok
}

// valid reports whether a part is there and no fault lies inside it.
func (p *ruleParser) valid(name string) bool {
	part, ok := p.at[name]
	return ok && !slices.ContainsFunc(p.errs, func(e RuleError) bool { return e.From >= part.from && e.To <= part.to })
}

// hasAnyBy reports a BYxxx part other than BYSETPOS.
func (p *ruleParser) hasAnyBy() bool {
	for name := range p.at {
		if strings.HasPrefix(name, "BY") && name != "BYSETPOS" {
			return true
		}
	}
	return false
}

func (p *ruleParser) conflict(name, hint, format string, args ...any) {
	part := p.at[name]
	p.errs = append(p.errs, RuleError{CodeConflict, part.from, part.to, fmt.Sprintf(format, args...), hint})
}
