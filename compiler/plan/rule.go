package plan

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"mealtab/compiler/advice"
)

// RuleError is one fault in the text of a rule. From and To are byte offsets into the text given to [ParseRule].
type RuleError struct {
	Code     Code
	From, To int
	Message  string
	Hint     string
}

// Error is the message without its place.
func (e RuleError) Error() string { return e.Message }

// ruleParts are the parts of a RECUR value (RFC 5545 §3.3.10, RFC 7529 §4.1), in the order of [Rule.String].
var ruleParts = []string{
	"RSCALE", "FREQ", "INTERVAL", "COUNT", "UNTIL", "WKST", "BYMONTH", "BYWEEKNO", "BYYEARDAY", "BYMONTHDAY",
	"BYDAY", "BYHOUR", "BYMINUTE", "BYSECOND", "BYSETPOS", "SKIP",
}

// FreqNames are the values of FREQ, indexed by [Freq].
var FreqNames = []string{"SECONDLY", "MINUTELY", "HOURLY", "DAILY", "WEEKLY", "MONTHLY", "YEARLY"}

// DayNames are the weekdays of RFC 5545, indexed by [Weekday].
var DayNames = []string{"MO", "TU", "WE", "TH", "FR", "SA", "SU"}

// skipNames are the values of SKIP, indexed by [Skip].
var skipNames = []string{"OMIT", "BACKWARD", "FORWARD"}

// maxNumber bounds INTERVAL and COUNT. A century has fewer than 4·10⁹ seconds; 9 digits keep every product of such
// a number with 86,400 inside 64 bits.
const maxNumber = 999_999_999

// ParseRule reads an RRULE value. Lower case and white space around = ; , are accepted. All faults are returned
// together, in order of place; the rule is nil when there is one. What depends on DTSTART is not checked here.
func ParseRule(s string) (*Rule, []RuleError) {
	p := parseRule(s, false)
	if len(p.errs) > 0 {
		return nil, p.errs
	}
	p.rule.Text = strings.ToUpper(strings.Map(dropSpace, s))
	return p.rule, nil
}

// CheckRule says what is wrong first in an RRULE value, nil where nothing is: all that RFC 5545 §3.3.10 and RFC 7529 §4.1 forbid stands in
// this package. besideTimes says that the times of day come from beside the rule ([Recurrence.At]); BYSETPOS may then choose among those.
func CheckRule(s string, besideTimes bool) error {
	p := parseRule(s, besideTimes)
	if len(p.errs) > 0 {
		return p.errs[0]
	}
	if clashes := p.rule.ClashesWithTimes(); besideTimes && len(clashes) > 0 {
		return clashes[0]
	}
	return nil
}

func parseRule(s string, besideTimes bool) *ruleParser {
	p := &ruleParser{s: s, rule: &Rule{Interval: 1}, at: map[string]rulePart{}, besideTimes: besideTimes}
	p.parse()
	p.checkCombinations()
	slices.SortStableFunc(p.errs, func(a, b RuleError) int {
		return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(a.To, b.To))
	})
	return p
}

// dropSpace is for strings.Map; white space is only left around separators by then.
func dropSpace(r rune) rune {
	if r < 0x80 && isSpace(byte(r)) {
		return -1
	}
	return r
}

func isSpace(b byte) bool { return b == ' ' || b == '\t' || b == '\n' || b == '\r' }

// rulePart is a piece NAME=value of the text; offsets are those of the text.
type rulePart struct {
	name               string // upper case
	from, to           int    // of the whole piece, white space excluded
	valueFrom, valueTo int
}

type ruleParser struct {
	s    string
	rule *Rule
	at   map[string]rulePart // parts seen, by name
	errs []RuleError
	// besideTimes: times of day come from beside the rule.
	besideTimes bool
	// unread: some part was not recognized, and may have been meant to be FREQ.
	unread bool
}

func (p *ruleParser) fail(code Code, from, to int, hint, format string, args ...any) {
	if len(p.errs) >= MaxDiagnostics {
		return
	}
	p.errs = append(p.errs, RuleError{code, from, to, fmt.Sprintf(format, advice.Shorten(args)...), hint})
}

// pieces cuts s[from:to] at sep and trims white space; the result is pairs of offsets.
func (p *ruleParser) pieces(from, to int, sep byte) [][2]int {
	var out [][2]int
	start := from
	for i := from; i <= to; i++ {
		if i == to || p.s[i] == sep {
			out = append(out, p.trim(start, i))
			start = i + 1
		}
	}
	return out
}

func (p *ruleParser) trim(from, to int) [2]int {
	for from < to && isSpace(p.s[from]) {
		from++
	}
	for to > from && isSpace(p.s[to-1]) {
		to--
	}
	return [2]int{from, to}
}

func (p *ruleParser) parse() {
	whole := p.trim(0, len(p.s))
	if whole[0] == whole[1] {
		p.fail(CodeRule, 0, len(p.s), `a daily meal is "FREQ=DAILY"`, "the rule is empty")
		return
	}
	if upper := strings.ToUpper(p.s[whole[0]:whole[1]]); strings.HasPrefix(upper, "RRULE") {
		p.fail(CodeRule, whole[0], whole[0]+5, "write only what follows RRULE:", "the rule begins with its property name")
		return
	}
	for _, piece := range p.pieces(whole[0], whole[1], ';') {
		p.parsePart(piece[0], piece[1])
	}
	if !p.has("FREQ") && !p.unread {
		p.fail(CodeMissing, whole[0], whole[1], "begin with FREQ=DAILY, FREQ=WEEKLY, FREQ=MONTHLY or FREQ=YEARLY", "the rule has no FREQ")
	}
}

func (p *ruleParser) parsePart(from, to int) {
	if from == to {
		p.fail(CodeRule, min(from, len(p.s)-1), min(from+1, len(p.s)), "remove one of the semicolons", "a part of the rule is empty")
		return
	}
	eq := strings.IndexByte(p.s[from:to], '=')
	if eq < 0 {
		p.unread = true
		p.fail(CodeRule, from, to, "parts are written NAME=value and separated by semicolons", "%q has no =", p.s[from:to])
		return
	}
	name, value := p.trim(from, from+eq), p.trim(from+eq+1, to)
	part := rulePart{strings.ToUpper(p.s[name[0]:name[1]]), from, to, value[0], value[1]}
	if !slices.Contains(ruleParts, part.name) {
		p.unread = true
		p.fail(CodeUnknown, name[0], max(name[1], name[0]+1), advice.DidYouMean(part.name, ruleParts, nil),
			"%q is not a part of a recurrence rule", p.s[name[0]:name[1]])
		return
	}
	if _, twice := p.at[part.name]; twice {
		p.fail(CodeDuplicate, from, to, "a part may be given once; lists are separated by commas", "%s is given twice", part.name)
		return
	}
	p.at[part.name] = part
	if part.valueFrom == part.valueTo {
		p.fail(CodeRule, from, to, "", "%s has no value", part.name)
		return
	}
	p.parseValue(part)
}

func (p *ruleParser) parseValue(part rulePart) {
	r := p.rule
	switch part.name {
	case "FREQ":
		r.Freq = Freq(p.word(part, FreqNames))
	case "INTERVAL":
		r.Interval = p.positive(part, "1 means every time, 2 every second time")
	case "COUNT":
		r.Count = p.positive(part, "leave COUNT out for a meal without end")
	case "UNTIL":
		r.Until = p.until(part)
	case "WKST":
		r.WeekStart = Weekday(p.word(part, DayNames))
	case "BYSECOND":
		r.BySecond = p.numbers(part, numberRange{lo: 0, hi: 60, hint: "seconds run from 0 to 60"})
		for i, n := range r.BySecond {
			r.BySecond[i] = min(n, 59) // a leap second is read as 59 (RFC 5545 §3.3.12)
		}
		r.BySecond = slices.Compact(r.BySecond)
	case "BYMINUTE":
		r.ByMinute = p.numbers(part, numberRange{lo: 0, hi: 59, hint: "minutes run from 0 to 59"})
	case "BYHOUR":
		r.ByHour = p.numbers(part, numberRange{lo: 0, hi: 23, hint: "hours run from 0 (midnight) to 23"})
	case "BYDAY":
		r.ByDay = p.days(part)
	case "BYMONTHDAY":
		r.ByMonthDay = p.numbers(part, numberRange{lo: 1, hi: 31, signed: true, hint: "the last day of the month is -1"})
	case "BYYEARDAY":
		r.ByYearDay = p.numbers(part, numberRange{lo: 1, hi: 366, signed: true, hint: "the last day of the year is -1"})
	case "BYWEEKNO":
		r.ByWeekNo = p.numbers(part, numberRange{lo: 1, hi: 53, signed: true, hint: "the last week of the year is -1"})
	case "BYMONTH":
		r.ByMonth = p.numbers(part, numberRange{lo: 1, hi: 12, hint: "January is 1, December is 12"})
	case "BYSETPOS":
		r.BySetPos = p.numbers(part, numberRange{lo: 1, hi: 366, signed: true, hint: "the first of the set is 1, the last is -1"})
	case "RSCALE":
		p.word(part, []string{"GREGORIAN"})
	case "SKIP":
		r.Skip = Skip(p.word(part, skipNames))
	}
}

// word finds the value among names and returns its index, 0 after a fault.
func (p *ruleParser) word(part rulePart, names []string) int {
	value := strings.ToUpper(p.s[part.valueFrom:part.valueTo])
	if i := slices.Index(names, value); i >= 0 {
		return i
	}
	hint := advice.DidYouMean(value, names, wordSynonyms)
	if part.name == "RSCALE" {
		hint = "the feeder's clock counts the Gregorian calendar: RSCALE=GREGORIAN"
	}
	p.fail(CodeRule, part.valueFrom, part.valueTo, hint, "%s=%s does not exist", part.name, p.s[part.valueFrom:part.valueTo])
	return 0
}

// wordSynonyms maps words people write to those of RFC 5545.
var wordSynonyms = map[string]string{
	"day": "DAILY", "week": "WEEKLY", "month": "MONTHLY", "year": "YEARLY", "annually": "YEARLY", "hour": "HOURLY",
	"minute": "MINUTELY", "fortnightly": "FREQ=WEEKLY;INTERVAL=2", "biweekly": "FREQ=WEEKLY;INTERVAL=2",
	"mon": "MO", "tue": "TU", "wed": "WE", "thu": "TH", "fri": "FR", "sat": "SA", "sun": "SU",
	"monday": "MO", "tuesday": "TU", "wednesday": "WE", "thursday": "TH", "friday": "FR", "saturday": "SA", "sunday": "SU",
}
