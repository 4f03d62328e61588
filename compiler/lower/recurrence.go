package lower

import (
	"mealtab/compiler/plan"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

// at is a nominal local time, split as the table splits it.
type at struct {
	day    int
	minute uint16
}

func atOf(l plan.Local) at { return at{dayNumber(l), uint16(minuteOfDay(l))} }

func atNominal(unix int64) at {
	m := floorDiv(int(unix)-table.Epoch, 60)
	return at{floorDiv(m, table.MinutesPerDay), uint16(floorMod(m, table.MinutesPerDay))}
}

// unix reads the nominal time as if it were UTC, which is how package zone takes it.
func (a at) unix() int64 { return unixTime(a.day, a.minute) }

func unixTime(day int, minute uint16) int64 {
	return table.Epoch + int64(day)*86400 + int64(minute)*60
}

// series is one meal's recurrence set on its way into pieces.
type series struct {
	*lowering
	set    *plan.Recurrence
	zone   *zone.Zone // of the nominal times
	exDate map[at]bool
	exDay  map[int]bool
	pieces []piece
}

// recurrence returns the pieces of a meal's set within the range; closed is false when its rule has no closed form.
func (l *lowering) recurrence(set *plan.Recurrence) (pieces []piece, closed bool) {
	s := &series{lowering: l, set: set, zone: l.z}
	if set.Form == plan.UTC {
		s.zone = zone.UTC()
	}
	s.exceptions()
	if set.Rule != nil && !s.rule() {
		return nil, false
	}
	s.explicitDates()
	if set.Form == plan.UTC {
		for i := range s.pieces {
			s.pieces[i].rule.UTC = true
		}
	}
	return s.pieces, true
}

func (s *series) exceptions() {
	s.exDate, s.exDay = map[at]bool{}, map[int]bool{}
	for _, d := range s.set.ExDate {
		s.exDate[atOf(d)] = true
	}
	for _, d := range s.set.ExDays {
		s.exDay[dayNumber(d)] = true
	}
}

func (s *series) excluded(a at) bool { return s.exDate[a] || s.exDay[a.day] }

// rule lowers RRULE with DTSTART, COUNT, UNTIL and EXDATE; false: no closed form.
func (s *series) rule() bool {
	var closed bool
	if s.set.Rule.Freq >= plan.Daily {
		if s.pieces, closed = dateRules(s.set); !closed {
			return false
		}
	} else {
		s.pieces = stepRules(s.set)
	}
	unbounded := s.pieces
	s.from(atOf(s.set.Start))
	switch r := s.set.Rule; {
	case r.Count > 0:
		s.count(unbounded, r.Count)
	case r.Until != nil:
		s.untilValue(r.Until)
	}
	s.except()
	return true
}
