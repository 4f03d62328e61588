// Package ruletext reads one recurrence rule from a command line as if it stood in a plan.
//
// In: the values of the arguments. Out: a plan of one meal, or diagnostics that point into the argument at fault. All rules
// of package reader apply, because the arguments are put into a small plan; places in it are turned back into places in the
// arguments.
package ruletext

import (
	"regexp"
	"strings"
	"unicode/utf8"

	"mealtab/compiler/plan"
	"mealtab/compiler/reader"
)

// Input is what was given; empty where it was not.
type Input struct {
	Rule, Start, Zone string
	At                []string
	RDate, ExDate     []string
}

// line is one line of the small plan: the argument's text begins after the prefix.
type line struct {
	argument, prefix, text, suffix string
}

// Parse reads the arguments. The plan is nil when there are errors.
func (in Input) Parse(o reader.Options) (*plan.Plan, plan.Diagnostics) {
	in.Rule, in.Start, in.Zone = oneLine(in.Rule), oneLine(in.Start), oneLine(in.Zone)
	lines, ds := in.lines()
	if ds.HasErrors() {
		return nil, ds
	}
	var b strings.Builder
	for _, l := range lines {
		b.WriteString(l.prefix + l.text + l.suffix + "\n")
	}
	p, ds := o.Parse("rule.toml", []byte(b.String()))
	for i := range ds {
		ds[i] = in.back(ds[i], lines)
	}
	return p, ds
}

// oneLine makes a text one line of UTF-8, so that places in it can be shown and it stays in its place in the plan.
func oneLine(text string) string {
	return strings.Map(func(r rune) rune {
		if r == '\n' || r == '\r' || r == '\uFEFF' {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(text, "\uFFFD"))
}

// lines are those of the small plan. A text that could leave its place in it is refused here.
func (in Input) lines() ([]line, plan.Diagnostics) {
	lines := []line{{argument: "--zone", prefix: "zone = '", text: in.Zone, suffix: "'"}, {text: "[[meal]]"}, {text: "name = 'rule'"}, {text: "portion = '1 pocket'"}}
	var ds plan.Diagnostics
	if _, errs := plan.ParseRule(in.Rule); len(errs) > 0 {
		src := plan.NewSource("rule", []byte(in.Rule))
		for _, e := range errs {
			ds = append(ds, plan.Diagnostic{Code: e.Code, Severity: plan.Error, Source: src, Pos: place(in.Rule, e.From, e.To), Message: e.Message, Hint: e.Hint})
		}
	}
	lines = append(lines, line{"rule", "rrule = '", in.Rule, "'"})
	if in.Start != "" {
		lines = append(lines, line{argument: "--dtstart", prefix: "dtstart = ", text: withSeconds(in.Start)})
		ds = append(ds, checkTimes("--dtstart", in.Start)...)
	}
	if strings.Contains(in.Zone, "'") {
		ds = append(ds, fault("--zone", in.Zone, plan.CodeZone, "this is no IANA time zone name", "write for example --zone Europe/Lisbon"))
	}
	if len(in.At) > 0 {
		lines = append(lines, list("--at", "at = ['", in.At, "', '", "']"))
		if at := oneLine(strings.Join(in.At, ",")); at != strings.Join(in.At, ",") || strings.Contains(at, "'") {
			ds = append(ds, fault("--at", at, plan.CodeDate, "these are not times of day", "write for example --at 07:00,18:30"))
		}
	}
	for _, l := range []struct {
		argument, prefix string
		values           []string
	}{{"--rdate", "rdate = [", in.RDate}, {"--exdate", "exdate = [", in.ExDate}} {
		if len(l.values) == 0 {
			continue
		}
		values := make([]string, len(l.values))
		for i, v := range l.values {
			values[i] = withSeconds(v)
			ds = append(ds, checkTimes(l.argument, v)...)
		}
		lines = append(lines, list(l.argument, l.prefix, values, ", ", "]"))
	}
	return lines, ds
}

func list(argument, prefix string, values []string, separator, suffix string) line {
	return line{argument, prefix, strings.Join(values, separator), suffix}
}

// timeSpelling is what a date or time may be made of.
var timeSpelling = regexp.MustCompile(`^[0-9TtZz:+.-]+$`)

func checkTimes(argument, text string) plan.Diagnostics {
	text = oneLine(text)
	if timeSpelling.MatchString(text) {
		return nil
	}
	return plan.Diagnostics{fault(argument, text, plan.CodeDate, "this is not a date or time", "write for example "+argument+" 2026-12-01T07:00")}
}

func fault(argument, text string, code plan.Code, message, hint string) plan.Diagnostic {
	return plan.Diagnostic{Code: code, Severity: plan.Error, Source: plan.NewSource(argument, []byte(text)), Pos: place(text, 0, len(text)), Message: message, Hint: hint}
}

// shortTime is a time without seconds, which TOML wants and people leave out.
var shortTime = regexp.MustCompile(`^(\d{4}-\d\d-\d\dT\d\d:\d\d)(Z?)$`)

func withSeconds(text string) string {
	return shortTime.ReplaceAllString(strings.ToUpper(text), "$1:00$2")
}

// place turns byte offsets in the first line of a text into a position.
func place(text string, from, to int) plan.Pos {
	from, to = min(from, len(text)), min(to, len(text))
	return plan.Pos{Line: 1, Col: utf8.RuneCountInString(text[:from]) + 1, Len: max(1, utf8.RuneCountInString(text[from:to]))}
}

// back turns a place in the small plan into one in an argument. What concerns the meal as a whole has none.
func (in Input) back(d plan.Diagnostic, lines []line) plan.Diagnostic {
	n := d.Pos.Line - 1
	if n < 0 || n >= len(lines) || lines[n].argument == "" {
		d.Source, d.Pos = nil, plan.Pos{}
		if d.Code == plan.CodeMissing {
			d.Message, d.Hint = strings.Replace(d.Message, "the meal has no dtstart", "there is no --dtstart", 1), "add for example --dtstart 2026-12-01T07:00"
		}
		return d
	}
	l := lines[n]
	d.Source = plan.NewSource(l.argument, []byte(l.text))
	d.Pos.Line = 1
	d.Pos.Col = max(1, d.Pos.Col-utf8.RuneCountInString(l.prefix))
	d.Pos.Len = max(1, min(d.Pos.Len, utf8.RuneCountInString(l.text)-d.Pos.Col+1))
	return d
}
