// Package history tells what a feeder has done, from its memory.
//
// In: the entries of a feeder's history ([table.History]), a clock for local time, the table in force with the names of its meals.
// Out: a line for each in words; text, JSON and CSV.
package history

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"mealtab/compiler/report/serving"
	"mealtab/compiler/table"
)

// Entry is one line. Its JSON is for programs: fields may be added, none may change.
type Entry struct {
	Port  string    `json:"port"`
	Time  time.Time `json:"time"`
	Event string    `json:"event"`
	Value int       `json:"value"`
	Unit  string    `json:"unit"`
	Text  string    `json:"text"`
	Meals []string  `json:"meals"` // names, where they are known
}

// Entries writes a history in words. Times are by the clock, or in UTC where that is nil.
func Entries(port string, list []table.History, clock serving.Clock) []Entry {
	entries := make([]Entry, len(list))
	for i, h := range list {
		e := Entry{Port: port, Time: h.At.Time(), Event: fmt.Sprintf("event %d", h.Event), Value: int(h.Value), Text: Event(h), Meals: []string{}}
		if clock != nil {
			e.Time = serving.Local(clock, e.Time)
		}
		for _, field := range table.Events() {
			if field.Value == h.Event {
				e.Event, e.Unit = strings.ToLower(strings.ReplaceAll(field.Name, "_", " ")), field.Unit
			}
		}
		entries[i] = e
	}
	return entries
}

// NameServed gives servings the names of their meals: those that the table in force has at that minute, since it came in force. Before, another
// table was, or another preset.
func NameServed(entries []Entry, list []table.History, held *serving.Schedule) {
	if len(held.Names) == 0 || len(list) == 0 || held.Table.Presets > 1 {
		return
	}
	since := list[0].At
	for _, h := range list {
		if h.Event == table.EventTable {
			since = h.At
		}
	}
	names := map[table.Minute][]string{}
	for w := held.Walk(serving.Range{From: since, To: list[len(list)-1].At + 1}, 0); ; {
		due, ok := w.Next()
		if !ok {
			break
		}
		for _, m := range due.Meals {
			names[due.At] = append(names[due.At], m.Name)
		}
	}
	for i, h := range list {
		if h.Event == table.EventServed && h.At >= since && names[h.At] != nil {
			entries[i].Meals = names[h.At]
			entries[i].Text = strings.Join(names[h.At], " and ") + ": " + entries[i].Text
		}
	}
}

// Write writes entries as "text", "json" (one object a line) or "csv".
func Write(out io.Writer, entries []Entry, format string) error {
	switch format {
	case "json":
		enc := json.NewEncoder(out)
		for _, e := range entries {
			if err := enc.Encode(e); err != nil {
				return err
			}
		}
		return nil
	case "csv":
		w := csv.NewWriter(out)
		_ = w.Write([]string{"port", "time", "event", "value", "unit", "text", "meals"})
		for _, e := range entries {
			_ = w.Write([]string{e.Port, e.Time.Format(time.RFC3339), e.Event, strconv.Itoa(e.Value), e.Unit, e.Text, strings.Join(e.Meals, "; ")})
		}
		w.Flush()
		return w.Error()
	}
	if len(entries) == 0 {
		fmt.Fprintln(out, "nothing happened")
	}
	for len(entries) > 0 {
		e, n := entries[0], settings(entries)
		text := e.Text
		if n > 1 {
			text += fmt.Sprintf(" (%d times)", n)
		}
		fmt.Fprintf(out, "%-26s  %s\n", e.Time.Format(serving.TimeLayout), text)
		entries = entries[n:]
	}
	return nil
}

// settings is how many entries at the beginning are one: a clock is set again until it agrees.
func settings(entries []Entry) (n int) {
	e := entries[0]
	for n = 1; n < len(entries) && e.Event == "clock set" && entries[n].Event == e.Event && entries[n].Text == e.Text; n++ {
		if entries[n].Time.Sub(e.Time) > time.Minute {
			break
		}
	}
	return n
}
