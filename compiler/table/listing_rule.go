package table

import (
	"fmt"
	"strings"
)

func opName(op int) string {
	for _, o := range Ops() {
		if o.Code == op {
			return o.Name
		}
	}
	return fmt.Sprintf("opcode %02X", op)
}

// noteTerm describes the term just read.
func (r *reader) noteTerm(rule *Rule, number, op int) {
	if !r.list {
		r.mark = r.pos
		return
	}
	r.noteOf("rule", number, opName(op), "%s", operandText(rule, op))
}

// operandText says in words what a term asks of a date.
func operandText(rule *Rule, op int) string {
	switch op {
	case opUTC:
		return "dates and times are UTC"
	case opFrom:
		return "from " + rule.From.String()
	case opUntil:
		return "until " + rule.Until.String()
	case opEveryDays:
		return rule.EveryDays.text("days")
	case opEveryWeeks:
		return fmt.Sprintf("every %d weeks, from day number %d", rule.EveryWeeks.N, rule.EveryWeeks.Phase)
	case opEveryMonth:
		return rule.EveryMonth.text("months")
	case opEveryYears:
		return rule.EveryYears.text("years")
	case opMonths:
		return "months " + bitNumbers(uint32(rule.Months))
	case opDayList, opDayMask:
		return "days of the month " + numbers(rule.MonthDays.List())
	case opNthOfMonth:
		return nthText(rule.NthOfMonth) + " of the month"
	case opNthOfYear:
		return nthText(rule.NthOfYear) + " of the year"
	case opYearDays:
		return "days of the year " + numbers(rule.YearDays)
	case opWeeks:
		return rule.Weeks.text()
	case opSetPos:
		return rule.SetPos.text()
	case opDates:
		return dateList(rule.Dates)
	case opExcept:
		return "not on " + dateList(rule.Except)
	}
	return ""
}

func (e Every) text(unit string) string {
	return fmt.Sprintf("every %d %s, number %d of them", e.N, unit, e.Phase)
}

func (k *Weeks) text() string {
	s := fmt.Sprintf("weeks %s, starting on %s", numbers(k.Numbers), weekdayShort[k.WeekStart%7])
	if k.Every.N > 1 {
		s += ", " + k.Every.text("week years")
	}
	return s
}

func (s *SetPos) text() string {
	name := [...]string{"week", "month", "year", "week year"}
	p := "?"
	if int(s.Period) < len(name) {
		p = name[s.Period]
	}
	return fmt.Sprintf("number %s of the %s", numbers(s.Positions), p)
}

func numbers(list []int) string {
	return strings.Trim(fmt.Sprint(list), "[]")
}

func bitNumbers(mask uint32) string {
	var list []int
	for i := range 32 {
		if mask>>i&1 != 0 {
			list = append(list, i+1)
		}
	}
	return numbers(list)
}

func nthText(list []Nth) string {
	parts := make([]string, len(list))
	for i, n := range list {
		parts[i] = weekdayShort[n.Weekday%7]
		if n.N != 0 {
			parts[i] = fmt.Sprintf("%d%s", n.N, parts[i])
		}
	}
	return strings.Join(parts, " ")
}

func dateList(days []Day) string {
	parts := make([]string, len(days))
	for i, d := range days {
		parts[i] = d.String()
	}
	return strings.Join(parts, " ")
}
