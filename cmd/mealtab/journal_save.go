package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"time"

	"github.com/spf13/pflag"

	"mealtab/compiler/report/history/saved"
	"mealtab/compiler/report/serving"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
	"mealtab/flasher"
)

// runSave adds a feeder's history to a file.
func (a *app) runSave(f journalFlags, flags *pflag.FlagSet) error {
	switch {
	case f.every || len(f.ports) > 1:
		return usagef("--save keeps the history of one feeder: name it with one --port")
	case f.since != "" || flags.Changed("format") || f.utc:
		return usagef("--save writes all that the feeder remembers, in a format of its own: it does not go with --since, --format and --utc")
	}
	if f.save == "-" {
		return usagef("--save adds to a file: name one")
	}
	if _, err := readSaved(f.save); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err // before anybody waits for a feeder
	}
	return a.each(f.portFlags, func(s *session) error {
		reading, err := s.reading(f.plan)
		if err != nil {
			return err
		}
		return s.addTo(f.save, reading, f.sameFeeder)
	})
}

// reading is all that a feeder remembers, with its state at that time.
func (s *session) reading(planName string) (*saved.Log, error) {
	if s.ID.HistorySlots == 0 {
		return nil, fmt.Errorf("%s keeps no history: its clock module has no memory, and the chip no room; mealtab journal shows its last servings", s.Port())
	}
	const tries = 3
	for range tries {
		st, err := s.Status()
		if err != nil {
			return nil, err
		}
		t, err := s.savedTable(st, planName)
		if err != nil {
			return nil, err
		}
		name, err := s.Name(st)
		if err != nil {
			return nil, err
		}
		records, err := s.history(0)
		if err != nil {
			return nil, err
		}
		left, err := s.left()
		if err != nil {
			return nil, err
		}
		after, err := s.Status()
		if err != nil {
			return nil, err
		}
		if after.Sequence != st.Sequence || after.CRC != st.CRC || after.Preset != st.Preset || after.Adjust != st.Adjust || after.Faults != st.Faults {
			continue // something happened meanwhile: the state would not be that of the records
		}
		// What happened while the records were read may be among them; what comes later is not, so the earlier time is how far they go.
		state := saved.State{Computer: s.a.now, Feeder: table.MinuteOf(st.Now.Unix()), Preset: st.Preset, Adjust: st.Adjust, Faults: st.Faults, Left: left}
		feeder := saved.Feeder{Board: s.ID.Board, Sensors: s.ID.Sensors, Slots: s.ID.HistorySlots, Name: name}
		return saved.Reading(feeder, records, state, t), nil
	}
	return nil, fmt.Errorf("%s changed its state each time that it was read; nothing was saved: try again", s.Port())
}

// left is how many pockets of the newest serving are still to come; -1: not known.
func (s *session) left() (int, error) {
	j, err := s.Journal()
	var unanswered *flasher.RequestError
	switch {
	case errors.As(err, &unanswered):
		return 0, err
	case err != nil:
		return -1, nil
	case j.Done():
		return 0, nil
	}
	return j.Pockets - max(0, j.Steps-1), nil
}

// savedTable is the table in force with the names that are known of it; nil: there is none, or it is damaged.
func (s *session) savedTable(st flasher.Status, planName string) (*saved.Table, error) {
	tab, err := s.Table(st)
	var unanswered *flasher.RequestError
	if errors.As(err, &unanswered) {
		return nil, err
	}
	if err != nil {
		return nil, nil
	}
	if _, err := table.Decode(tab); err != nil {
		return nil, nil
	}
	held, err := s.schedule(tab, planName)
	if err != nil {
		return nil, err
	}
	return &saved.Table{Bytes: tab, Plan: held.Title, Zone: held.Zone, Meals: held.Names}, nil
}

// readSaved reads a file of saved history; the error of one that is not there is fs.ErrNotExist. A last line that was cut off is left out, and said.
func readSaved(name string) (*saved.Log, error) {
	text, err := os.ReadFile(name)
	if err != nil {
		return nil, plain(err)
	}
	l, _, err := saved.Parse(text)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return l, nil
}

// addTo merges a reading into a file, which may not be there yet. Two commands at once do it one after the other.
func (s *session) addTo(name string, reading *saved.Log, same bool) error {
	unlock, err := lockFile(name)
	if err != nil {
		return err
	}
	defer unlock()
	old, err := readSaved(name)
	if errors.Is(err, fs.ErrNotExist) {
		old, err = &saved.Log{}, nil
	}
	if err != nil {
		return err
	}
	if stranger := saved.Same(old, reading); stranger != nil && !same {
		cure := "if it is, because its board or its memory was changed, say so with --same-feeder"
		if stranger.Certain {
			cure = "name another file for it"
		}
		return fmt.Errorf("%s: %w; nothing was written: %s", name, stranger, cure)
	}
	merged := saved.Merge(old, reading)
	if err := s.a.write(name, merged.Text()); err != nil {
		return err
	}
	added := merged.Records() - old.Records()
	fmt.Fprintf(&s.out, "%s: %s, %s in all", name, units.Count(added, "new record"), units.Thousands(merged.Records()))
	if first, ok := firstRecord(merged); ok {
		fmt.Fprintf(&s.out, ", from %s on", first.Time().Format(serving.TimeLayout))
	}
	fmt.Fprintln(&s.out)
	if gaps := len(merged.Runs) - 1; gaps > 0 && len(old.Runs) > 0 && len(merged.Runs) > len(old.Runs) {
		fmt.Fprintf(&s.out, "Between the last time and this one the feeder's memory went round: what happened in between is not known. It holds %s.\n",
			units.Count(s.ID.HistorySlots, "record"))
	}
	return nil
}

func firstRecord(l *saved.Log) (table.Minute, bool) {
	for _, r := range l.Runs {
		if len(r.Records) > 0 {
			return r.Records[0].At, true
		}
	}
	return 0, false
}

const (
	lockPatience = 10 * time.Second
	lockOld      = time.Minute // of one that nobody holds any more: writing takes a moment
)

// lockFile holds NAME.lock, so that two commands do not write one file at once.
func lockFile(name string) (unlock func(), err error) {
	target, err := followed(name)
	if err != nil {
		return nil, cannotWrite(name, err)
	}
	lock := target + ".lock"
	for end := time.Now().Add(lockPatience); ; time.Sleep(20 * time.Millisecond) {
		f, err := os.OpenFile(lock, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
		if err == nil {
			_ = f.Close()
			return func() { _ = os.Remove(lock) }, nil
		}
		if !errors.Is(err, fs.ErrExist) {
			return nil, cannotWrite(name, err)
		}
		if info, err := os.Stat(lock); err == nil && time.Since(info.ModTime()) > lockOld {
			_ = os.Remove(lock)
			continue
		}
		if time.Now().After(end) {
			return nil, fmt.Errorf("another mealtab is writing %s; nothing was written (if none is: remove %s)", name, lock)
		}
	}
}

// loadSaved reads several files of one feeder.
func loadSaved(names []string) (*saved.Log, error) {
	all := &saved.Log{}
	for _, name := range names {
		l, err := readSaved(name)
		if err != nil {
			return nil, err
		}
		if stranger := saved.Same(all, l); stranger != nil && stranger.Certain {
			return nil, fmt.Errorf("%s: %w", name, stranger)
		}
		all = saved.Merge(all, l)
	}
	return all, nil
}
