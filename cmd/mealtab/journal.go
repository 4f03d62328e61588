package main

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/compiler/report/serving"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
	"mealtab/compiler/zone"
	"mealtab/flasher"
)

type journalFlags struct {
	portFlags
	since, format, plan string
	utc                 bool
}

func (a *app) journalCommand() *cobra.Command {
	var f journalFlags
	cmd := &cobra.Command{
		Use:   "journal",
		Short: "Read what a feeder has done: servings, missed ones, faults",
		Long: `Read the feeder's memory of what it has done, oldest first: servings and the pockets turned, those
missed, those given by hand, jams, low supply, resets, clock and table changes. It goes back some weeks
where the clock module has a memory, else a few entries. Meals have the names of the plan in force, if it
was put there from this computer or is given with --plan; those served from an earlier one have none.

That food was served does not mean that it was eaten.`,
		Example: `  mealtab journal
  mealtab journal --since 2026-12-01
  mealtab journal --format csv >december.csv`,
		Args: none,
		RunE: func(*cobra.Command, []string) error { return a.runJournal(f) },
	}
	flags := cmd.Flags()
	f.register(flags)
	flags.StringVar(&f.since, "since", "", "leave out what was before `T`: "+moment.Forms)
	flags.StringVar(&f.plan, "plan", "", planFlag)
	flags.StringVar(&f.format, "format", "text", "text, json (one object a line) or csv")
	flags.BoolVar(&f.utc, "utc", false, "show UTC instead of the table's local time")
	return cmd
}

// entry is one line of the journal.
type entry struct {
	Port  string    `json:"port"`
	Time  time.Time `json:"time"`
	Event string    `json:"event"`
	Value int       `json:"value"`
	Unit  string    `json:"unit"`
	Text  string    `json:"text"`
	Meals []string  `json:"meals"` // names, where they are known
}

func (a *app) runJournal(f journalFlags) error {
	if !slices.Contains([]string{"text", "json", "csv"}, f.format) {
		return usagef("--format %s does not exist: text, json or csv", f.format)
	}
	return a.each(f.portFlags, func(s *session) error {
		held, clock, err := s.inForce(f.plan)
		if err != nil {
			return err
		}
		since := table.Minute(0)
		if f.since != "" {
			m, err := moment.Parse(f.since, clock, a.now)
			if err != nil {
				return usagef("--since: %v", err)
			}
			since = m.At
		}
		list, err := s.history(since)
		if err != nil {
			return err
		}
		entries := make([]entry, len(list))
		for i, h := range list {
			entries[i] = s.entry(h, clock, f.utc)
		}
		if held != nil {
			s.nameServed(entries, list, held)
		}
		return writeJournal(&s.out, entries, f.format)
	})
}

// history is what a feeder remembers, oldest first. A board without a history has its journal: the last few servings.
func (s *session) history(since table.Minute) ([]table.History, error) {
	defer s.waiting("reading the feeder's history")()
	if s.ID.HistorySlots > 0 {
		list, err := s.History(since)
		slices.Reverse(list)
		return list, err
	}
	records, err := s.Records()
	var list []table.History
	for _, j := range records {
		event := map[int]int{table.JournalServing: table.EventServed, table.JournalManual: table.EventManual}[j.Kind]
		if event != 0 && j.Cursor >= since && j.Cursor != table.CursorNone {
			list = append(list, table.History{At: j.Cursor, Event: event, Value: uint16(j.Pockets)})
		}
	}
	return list, err
}

// inForce is the table in force as a schedule, nil where there is none, and the clock of its zone, or UTC.
func (s *session) inForce(planName string) (*serving.Schedule, serving.Clock, error) {
	st, err := s.Status()
	if err != nil {
		return nil, nil, err
	}
	tab, err := s.Table(st)
	var unanswered *flasher.RequestError
	switch {
	case errors.As(err, &unanswered):
		return nil, nil, err
	case err != nil: // none is in force, or one that is damaged
		return nil, zone.UTC(), nil
	}
	if _, err := serving.OfTable(tab); err != nil {
		return nil, zone.UTC(), nil
	}
	held, err := s.schedule(tab, planName)
	if err != nil {
		return nil, nil, err
	}
	return held, held.Clock, nil
}

// nameServed gives servings the names of their meals: those that the table in force has at that minute, since it came in force. Before, another
// table was, or another preset.
func (s *session) nameServed(entries []entry, list []table.History, held *serving.Schedule) {
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

func (s *session) entry(h table.History, clock serving.Clock, utc bool) entry {
	at := h.At.Time()
	if !utc {
		at = serving.Local(clock, at)
	}
	e := entry{Port: s.Port(), Time: at, Event: fmt.Sprintf("event %d", h.Event), Value: int(h.Value), Meals: []string{}}
	for _, field := range table.Events() {
		if field.Value == h.Event {
			e.Event, e.Unit = strings.ToLower(strings.ReplaceAll(field.Name, "_", " ")), field.Unit
		}
	}
	e.Text = eventText(h)
	return e
}

// eventText says in words what happened.
func eventText(h table.History) string {
	pockets := units.Count(int(h.Value), "pocket")
	switch h.Event {
	case table.EventServed:
		return "served, " + pockets
	case table.EventManual:
		return "served by hand, " + pockets
	case table.EventMissed:
		return units.Count(int(h.Value), "serving") + " missed from here on"
	case table.EventResumed:
		return "a serving that was cut short got its last " + pockets
	case table.EventJam:
		return "the wheel did not turn; " + pockets + " still to come"
	case table.EventSupply:
		return fmt.Sprintf("the supply was too low to turn the wheel: %.2f V", float64(h.Value)/1000)
	case table.EventStarted:
		return "started after " + resetText(int(h.Value))
	case table.EventClockLost:
		return "the clock could not be trusted; time went on from the watchdog"
	case table.EventClockSet:
		if h.Value == 0x8000 {
			return "the clock was set, by more than nine hours"
		}
		if h.Value == 0 {
			return "the clock was set, by less than a second"
		}
		return fmt.Sprintf("the clock was set by %+d s", int16(h.Value))
	case table.EventTable:
		return fmt.Sprintf("a new table came in force, number %d", h.Value)
	case table.EventPreset:
		return fmt.Sprintf("preset %d from here on", h.Value+1)
	case table.EventAdjust:
		return fmt.Sprintf("portions at %d %% from here on", 10*h.Value)
	case table.EventLeftOut:
		return pockets + " of that serving were left out: they could not be given in time"
	case table.EventFault:
		return "fault: " + faultText(int(h.Value))
	case table.EventCleared:
		return "acknowledged: " + faultText(int(h.Value))
	case table.EventRefilled:
		if h.Value == 0 {
			return "the hopper was filled, nobody said with how much"
		}
		return "the hopper was filled, " + pockets
	}
	return fmt.Sprintf("value %d", h.Value)
}

// faultText says in words which faults are meant.
func faultText(faults int) string {
	var list []string
	for _, f := range table.FaultBits() {
		if faults&f.Value != 0 {
			list = append(list, f.Meaning)
		}
	}
	return strings.Join(list, "; ")
}

// resetText names the flags of MCUSR (ATmega328P data sheet, section 11.9.1).
func resetText(flags int) string {
	var list []string
	for bit, name := range []string{"power-on", "an external reset", "a dip of the supply", "the watchdog"} {
		if flags>>bit&1 != 0 {
			list = append(list, name)
		}
	}
	if list == nil {
		return "a reset by way of the bootloader" // which has cleared them
	}
	return strings.Join(list, " and ")
}

func writeJournal(out io.Writer, entries []entry, format string) error {
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
func settings(entries []entry) (n int) {
	e := entries[0]
	for n = 1; n < len(entries) && e.Event == "clock set" && entries[n].Event == e.Event && entries[n].Text == e.Text; n++ {
		if entries[n].Time.Sub(e.Time) > time.Minute {
			break
		}
	}
	return n
}
