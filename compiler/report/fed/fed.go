// Package fed compares what a plan says with what a feeder recorded, day by day.
//
// In: a saved history ([saved.Log]) with the tables that were in force, and the clock of the household. Out: a [Report]: each serving planned or
// recorded with what became of it, amounts a day, what is not known and why; as text, JSON and CSV, and a sentence for each week. Nothing is said
// that no record says: a serving without a record is unknown, not missed; what turned is not called fallen where no sensor saw it fall.
package fed

import (
	"time"

	"mealtab/compiler/report/history/saved"
	"mealtab/compiler/report/serving"
	"mealtab/compiler/table"
)

// Input is what is compared.
type Input struct {
	Log   *saved.Log
	Clock serving.Clock // local time of the days
	Title string        // of the plan; may be empty
	// From and To bound the local dates, To left out. Zero: the first that there is a record of, and the day after the newest reading.
	From, To table.Day
	// Least and Most are a day's ration in milligrams, by the equations for the pets; 0: not known.
	Least, Most int64
}

// State is what became of a serving.
type State string

// The states.
const (
	Given   State = "given"   // all its pockets were turned; no delay is on record
	Late    State = "late"    // all were turned, not at their time
	Part    State = "part"    // some were left out
	Missed  State = "missed"  // the feeder left it out
	ByHand  State = "by hand" // asked for by button or line; in no plan
	Waiting State = "waiting" // due, and may still come
	Unknown State = "unknown" // no record says
)

// Serving is one dispensing, planned or recorded.
type Serving struct {
	Due    table.Minute // when the plan has it; by hand: when it was given
	Meals  []string     // names; nil where they are not known
	State  State
	Adjust int // tenths of the portions then; 0: not known
	// Planned and Turned are pockets, -1: not known; the milligrams beside them are 0 where weights are not known.
	Planned, Turned     int
	PlannedMg, TurnedMg int64
	Twice               bool   // the clock was set back, and it was given again
	Count               int    // servings that this stands for, where the plan of the time is not known; else 1
	LateBy              int    // minutes after Due, at least: what the records show
	Why                 string // why it was late, missed or is not known; ""
	Notes               []string
}

// Span is a time of which nothing is known.
type Span struct {
	From, To table.Minute
	Why      string
}

// Day is a local date.
type Day struct {
	Date     table.Day
	Servings []Serving // by time
	Unknown  []Span    // parts of the day of which there is no record, or no plan
	Notes    []string  // what happened besides: a new plan, a preset, a clock that was wrong, faults
	// Sums over the servings of which both is known; by hand stands apart.
	PlannedPockets, TurnedPockets, HandPockets int
	PlannedMg, TurnedMg, HandMg                int64
	Weighed                                    bool // the milligrams are known
}

// Whole reports whether all of the day is known: every planned serving has a record.
func (d *Day) Whole() bool {
	for _, s := range d.Servings {
		if s.State == Unknown || s.State == Waiting {
			return false
		}
	}
	return len(d.Unknown) == 0
}

// Sensing is what the board can know of what it did.
type Sensing int

// The senses.
const (
	Blind   Sensing = iota // no sensor: the motor ran for the time of so many pockets
	Counted                // an index switch counted the pockets
	Seen                   // a light barrier saw food fall, not how much
)

// Report is the comparison.
type Report struct {
	Title       string
	Feeder      saved.Feeder
	Sensing     Sensing
	Clock       serving.Clock
	Days        []Day
	Weeks       []Week
	Least, Most int64 // mg a day, as in [Input]
}

// Week is seven days from a Monday, or those of them that are in the report.
type Week struct {
	From, To table.Day // To left out
	Sentence string
}

// Compare makes the report. It has no days where the log has no record.
func Compare(in Input) *Report {
	r := &Report{Title: in.Title, Feeder: in.Log.Feeder, Sensing: sensing(in.Log.Feeder.Sensors), Clock: in.Clock, Least: in.Least, Most: in.Most}
	c := &comparison{in: in}
	for i := range in.Log.Runs {
		c.run(&in.Log.Runs[i])
	}
	r.Days = c.days()
	r.Weeks = weeks(r)
	return r
}

func sensing(bits int) Sensing {
	const index, barrier = 1, 2 // as IDENTIFY has them
	switch {
	case bits&barrier != 0:
		return Seen
	case bits&index != 0:
		return Counted
	}
	return Blind
}

// Basis says in a sentence or two what the figures rest on.
func (s Sensing) Basis() string {
	const eaten = " What was given need not have been eaten."
	switch s {
	case Seen:
		return "The light barrier at the outlet sees that food falls, not how much: the amounts are pockets turned." + eaten
	case Counted:
		return "A switch counts the pockets that turned; nothing sees whether they were full." + eaten
	}
	return "This board has no sensors: a pocket counts as turned when the motor ran for it; nothing sees whether it turned or was full." + eaten
}

func (r *Report) local(at table.Minute) time.Time { return serving.Local(r.Clock, at.Time()) }

// dayOf is the local date of an instant.
func dayOf(c serving.Clock, at table.Minute) int {
	unix := at.Unix()
	nominal := table.MinuteOf(unix + int64(c.At(unix).Seconds))
	day := int(nominal) / table.MinutesPerDay
	if nominal < 0 && int(nominal)%table.MinutesPerDay != 0 {
		day--
	}
	return day
}

// startOf is the first instant of a local date.
func startOf(c serving.Clock, day int) table.Minute {
	nominal := table.Minute(day * table.MinutesPerDay)
	unix, _ := c.Resolve(nominal.Unix())
	return table.MinuteOf(unix)
}
