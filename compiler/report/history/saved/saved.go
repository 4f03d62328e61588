// Package saved keeps the history of one feeder in a file that grows: what the feeder remembers wraps round after some weeks.
//
// In: readings of a feeder (its records in order, its state, the table in force), and files written before. Out: a [Log] that has all of them,
// as text that a person can read ([Log.Text]) and that is read back ([Parse]). Merging is idempotent and does not depend on the order, because
// every reading is a stretch of one endless sequence of records: stretches are laid over each other where their records are the same.
package saved

import (
	"cmp"
	"slices"
	"time"

	"mealtab/compiler/table"
)

// Feeder is what is known of which feeder it is. There is no number on a board: its name, and above all its records, tell it from another.
type Feeder struct {
	Board   uint8  // code of the profile that its firmware was built for
	Sensors int    // as IDENTIFY has them: 1 index switch, 2 light barrier
	Slots   int    // records that it remembers
	Name    string // "": it has none
}

// Table is a table that was in force when the feeder was read.
type Table struct {
	Bytes []byte   // with its sequence number
	Plan  string   // what its plan is called; may be empty
	Zone  string   // IANA name; "" where no plan is known
	Meals []string // names in the table's order; nil where none are known
}

// Key tells a table from the others of a feeder: its number there, and its check.
type Key struct {
	Sequence uint8
	CRC      uint16
}

// Key is the table's.
func (t Table) Key() Key {
	decoded, err := table.Decode(t.Bytes)
	if err != nil {
		return Key{}
	}
	// The check of all but itself: that of the whole is the same for every table.
	return Key{decoded.Sequence, table.CRC(t.Bytes[:len(t.Bytes)-2])}
}

// State is what the feeder said of itself when it was read.
type State struct {
	Computer time.Time    // by the computer's clock, whole seconds of UTC
	Feeder   table.Minute // by the feeder's
	Preset   int          // index
	Adjust   int          // tenths
	Faults   int          // fault bits that are shown
	Left     int          // pockets of the newest serving that are still to come; -1: not known
	Table    *Key         // nil: none is in force
}

// Run is a stretch of records without a gap, oldest first.
type Run struct {
	Records []table.History
	States  []Placed[State]
	Notes   []Placed[string] // lines beginning with # that somebody wrote into the file
}

// Placed is something that was known when so many records of the run had been written.
type Placed[T any] struct {
	After int
	What  T
}

// Log is all that is known of a feeder's history.
type Log struct {
	Feeder Feeder
	Tables []Table
	Runs   []Run // in order of time; between two, records are lost
}

// Reading is a log of one reading. The table is nil where none is in force.
func Reading(f Feeder, records []table.History, s State, t *Table) *Log {
	l := &Log{Feeder: f}
	s.Computer = s.Computer.UTC().Truncate(time.Second)
	if t != nil {
		k := t.Key()
		s.Table = &k
		l.Tables = []Table{*t}
	}
	l.Runs = []Run{{Records: records, States: []Placed[State]{{len(records), s}}}}
	return l
}

// Records counts them.
func (l *Log) Records() (n int) {
	for _, r := range l.Runs {
		n += len(r.Records)
	}
	return n
}

// Table finds a table by its key; nil: it is not in the log.
func (l *Log) Table(k Key) *Table {
	for i := range l.Tables {
		if l.Tables[i].Key() == k {
			return &l.Tables[i]
		}
	}
	return nil
}

// newest is the time of the newest reading; zero where there is none.
func (l *Log) newest() (t time.Time) {
	for _, r := range l.Runs {
		for _, s := range r.States {
			if s.What.Computer.After(t) {
				t = s.What.Computer
			}
		}
	}
	return t
}

// compareRuns orders stretches that do not touch: whatever was read before the first reading of the other lies before it.
func compareRuns(a, b Run) int {
	read := func(r Run) int64 {
		if len(r.States) > 0 {
			return slices.MinFunc(r.States, func(s, t Placed[State]) int { return s.What.Computer.Compare(t.What.Computer) }).What.Computer.Unix()
		}
		if n := len(r.Records); n > 0 {
			return r.Records[n-1].At.Unix()
		}
		return 0
	}
	return cmp.Or(cmp.Compare(read(a), read(b)), slices.CompareFunc(a.Records, b.Records, compareRecords), cmp.Compare(runText(a), runText(b)))
}

func compareRecords(a, b table.History) int {
	return cmp.Or(cmp.Compare(a.At, b.At), cmp.Compare(a.Sequence, b.Sequence), cmp.Compare(a.Event, b.Event), cmp.Compare(a.Value, b.Value))
}
