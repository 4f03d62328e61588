package main

import (
	"errors"
	"slices"

	"github.com/spf13/cobra"

	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/compiler/report/history"
	"mealtab/compiler/report/serving"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
	"mealtab/flasher"
)

type journalFlags struct {
	portFlags
	since, format, plan string
	save                string
	utc, sameFeeder     bool
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

With --save all that it remembers goes into a file, which grows from one time to the next: saved before
the memory has gone round, nothing is lost, however often it is done. It is a text that can be read, and
lines that begin with # may be added to it. mealtab fed compares such files with the plan.

That food was served does not mean that it was eaten.`,
		Example: `  mealtab journal
  mealtab journal --since 2026-12-01
  mealtab journal --format csv >december.csv
  mealtab journal --save kitchen.history`,
		Args: none,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if f.save != "" {
				return a.runSave(f, cmd.Flags())
			}
			return a.runJournal(f)
		},
	}
	flags := cmd.Flags()
	f.register(flags)
	flags.StringVar(&f.since, "since", "", "leave out what was before `T`: "+moment.Forms)
	flags.StringVar(&f.plan, "plan", "", planFlag)
	flags.StringVar(&f.format, "format", "text", "text, json (one object a line) or csv")
	flags.StringVar(&f.save, "save", "", "add what the feeder remembers to a `FILE`, which keeps it for ever")
	flags.BoolVar(&f.sameFeeder, "same-feeder", false, "with --save: the file is this feeder's, though nothing in it shows that")
	flags.BoolVar(&f.utc, "utc", false, "show UTC instead of the table's local time")
	return cmd
}

func (a *app) runJournal(f journalFlags) error {
	if f.sameFeeder {
		return usagef("--same-feeder goes with --save FILE")
	}
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
		if f.utc {
			clock = nil
		}
		entries := history.Entries(s.Port(), list, clock)
		if held != nil {
			history.NameServed(entries, list, held)
		}
		return history.Write(&s.out, entries, f.format)
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
