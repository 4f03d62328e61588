package main

import (
	"fmt"
	"sort"
	"strings"

	"mealtab/compiler/profile"
	"mealtab/compiler/table"
	"mealtab/flasher/frame"
)

const (
	blockStart = "<!-- generated: "
	blockOpen  = " -->"
	blockEnd   = "<!-- end -->"
)

// fillBlocks replaces what stands between the markers of each generated block of a Markdown text.
func fillBlocks(text string) (string, error) {
	var out strings.Builder
	for {
		before, rest, found := strings.Cut(text, blockStart)
		out.WriteString(before)
		if !found {
			return out.String(), nil
		}
		name, rest, _ := strings.Cut(rest, blockOpen)
		_, after, closed := strings.Cut(rest, blockEnd)
		render, known := blocks[name]
		if !closed {
			return "", fmt.Errorf("block %q has no %s", name, blockEnd)
		}
		if !known {
			return "", fmt.Errorf("no block %q; there are %s", name, strings.Join(blockNames(), ", "))
		}
		fmt.Fprintf(&out, "%s%s%s\n%s%s", blockStart, name, blockOpen, render(), blockEnd)
		text = after
	}
}

var blocks = map[string]func() string{
	"header":   func() string { return fieldTable("offset", table.Header()) },
	"sections": func() string { return bitTable(table.Sections()) },
	"ops":      opTable,
	"wheel":    func() string { return operandTable(table.WheelOperands()) },
	"forms":    formTable,
	"head":     func() string { return bitTable(table.PartHead()) },
	"limits":   func() string { return fieldTable("value", table.Limits()) },
	"periods":  func() string { return bitTable(table.Periods()) },
	"map":      mapTable,
	"journal":  func() string { return fieldTable("offset", table.JournalRecord()) },
	"guards":   func() string { return bitTable(table.JournalGuards()) },
	"kinds":    func() string { return fieldTable("code", table.JournalKinds()) },
	"history":  func() string { return fieldTable("offset", table.HistoryRecord()) },
	"events":   func() string { return fieldTable("code", table.Events()) },
	"faults":   func() string { return bitTable(table.FaultBits()) },
	"answers":  func() string { return fieldTable("code", table.Faults()) },
	"boards":   boardTable,
	"messages": messageTable,
	"statuses": statusTable,
}

func blockNames() []string {
	var names []string
	for n := range blocks {
		names = append(names, n)
	}
	sort.Strings(names)
	return names
}

// markdown writes a table; columns that are empty in every row are left out.
func markdown(head []string, rows [][]string) string {
	var out strings.Builder
	used := make([]bool, len(head))
	for _, r := range rows {
		for i, cell := range r {
			used[i] = used[i] || cell != ""
		}
	}
	line := func(cells []string) {
		for i, c := range cells {
			if used[i] {
				out.WriteString("| " + strings.ReplaceAll(c, "|", "\\|") + " ")
			}
		}
		out.WriteString("|\n")
	}
	line(head)
	rule := make([]string, len(head))
	for i := range rule {
		rule[i] = "---"
	}
	line(rule)
	for _, r := range rows {
		line(r)
	}
	return out.String()
}

func fieldTable(value string, list []table.Field) string {
	return fieldRows(value, list, func(v int) string { return fmt.Sprint(v) })
}

func bitTable(list []table.Field) string {
	return fieldRows("hex", list, func(v int) string { return fmt.Sprintf("%02X", v) })
}

func fieldRows(value string, list []table.Field, show func(int) string) string {
	var rows [][]string
	for _, f := range list {
		rows = append(rows, []string{f.Name, show(f.Value), f.Width, f.Unit, f.Range, f.Meaning})
	}
	return markdown([]string{"name", value, "bytes", "unit", "range", "meaning"}, rows)
}

func opTable() string {
	var rows [][]string
	for _, o := range table.Ops() {
		rows = append(rows, []string{fmt.Sprintf("%02X", o.Code), o.Name, operands(o.Operands), o.Holds})
	}
	return markdown([]string{"code", "name", "operands", "holds"}, rows)
}

func formTable() string {
	var rows [][]string
	for _, f := range table.Forms() {
		rows = append(rows, []string{fmt.Sprint(f.Code), f.Name, operands(f.Operands), f.Meaning})
	}
	return markdown([]string{"code", "name", "operands", "times"}, rows)
}

func operandTable(list []table.Operand) string {
	var rows [][]string
	for _, o := range list {
		rows = append(rows, []string{o.Name, string(o.Encoding), fmt.Sprintf("%d to %d", o.Least, o.Most)})
	}
	return markdown([]string{"name", "encoding", "range"}, rows)
}

// operands says what stands behind an opcode or a form, in order.
func operands(list []table.Operand) string {
	parts := make([]string, len(list))
	for i, o := range list {
		parts[i] = o.String()
	}
	return strings.Join(parts, "; ")
}

func mapTable() string {
	var rows [][]string
	for _, m := range table.Maps() {
		rows = append(rows, []string{
			fmt.Sprint(m.Size), fmt.Sprintf("0, %d", m.BankSize), fmt.Sprint(m.BankSize),
			fmt.Sprintf("%d: %d × %d", m.Journal(), m.JournalSlots, table.JournalSlotSize),
			fmt.Sprintf("%d: %d × %d", m.History(), m.HistorySlots, table.HistorySize),
			fmt.Sprintf("%d: %d", m.ClockSet(), table.ClockSetSize),
			fmt.Sprint(m.Size - m.Used()),
		})
	}
	return markdown([]string{"EEPROM bytes", "banks at", "bank bytes", "journal", "history", "clock set", "spare bytes"}, rows)
}

func boardTable() string {
	var rows [][]string
	for _, b := range profile.Boards() {
		rows = append(rows, []string{fmt.Sprint(b.Code), b.Name, b.Chip().Name, fmt.Sprint(b.EEPROMBytes), fmt.Sprint(b.ClockHz / 1e6), fmt.Sprint(b.Baud), b.Sensors()})
	}
	return markdown([]string{"code", "board", "chip", "EEPROM bytes", "MHz", "baud", "sensors"}, rows)
}

func messageTable() string {
	var rows [][]string
	for _, m := range frame.Messages() {
		rows = append(rows, []string{fmt.Sprintf("%02X", m.Code), m.Name, payload(m.Request), payload(m.Response), m.Repeatable})
	}
	return markdown([]string{"code", "name", "request", "answer", "why it is repeated safely"}, rows)
}

func payload(fields []frame.Field) string {
	var parts []string
	for _, f := range fields {
		width := fmt.Sprint(f.Width)
		if f.Width == 0 {
			width = "rest"
		}
		s := fmt.Sprintf("%s (%s)", f.Name, width)
		if about := withUnit(f.Unit, f.Meaning); about != "" {
			s += " " + about
		}
		parts = append(parts, s)
	}
	return strings.Join(parts, "<br>")
}

func statusTable() string {
	var rows [][]string
	for _, s := range frame.Statuses() {
		rows = append(rows, []string{fmt.Sprint(s.Value), s.Name, s.Meaning})
	}
	return markdown([]string{"code", "name", "meaning"}, rows)
}
