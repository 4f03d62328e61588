package recur

import (
	"mealtab/compiler/plan"
	"mealtab/compiler/zone"
)

// Cursor walks a set in order of nominal local time.
type Cursor struct {
	set     *Set
	gen     *generator
	rule    Instance // the next instance of the rule, where hasRule
	hasRule bool
	counted int64 // instances of the rule so far
	// How much of explicit, exTimes and exDays lies behind.
	explicit, exTime, exDay int
}

// Cursor starts a walk at the beginning of the set.
func (s *Set) Cursor() *Cursor {
	c := &Cursor{set: s}
	if s.rule != nil {
		c.gen = newGenerator(s, s.start)
		c.advanceRule()
	}
	return c
}

// Next yields the next instance; it reports false after the last one up to End.
func (c *Cursor) Next() (Instance, bool) {
	for {
		in, ok := c.nextIncluded()
		if !ok || in.Nominal > End {
			return Instance{}, false
		}
		if !c.excluded(in.Nominal) {
			return in, true
		}
	}
}

// nextIncluded merges the rule with the explicit values: the set before EXDATE (RFC 5545 §3.8.5.3).
func (c *Cursor) nextIncluded() (Instance, bool) {
	s := c.set
	hasExplicit := c.explicit < len(s.explicit)
	switch {
	case hasExplicit && (!c.hasRule || s.explicit[c.explicit] <= c.rule.Nominal):
		n := s.explicit[c.explicit]
		c.explicit++
		if c.hasRule && c.rule.Nominal == n {
			c.advanceRule()
		}
		return s.resolve(n), true
	case c.hasRule:
		in := c.rule
		c.advanceRule()
		return in, true
	}
	return Instance{}, false
}

// excluded reports whether EXDATE takes nominal time n out of the set. Calls come in ascending order.
func (c *Cursor) excluded(n int64) bool {
	s := c.set
	for c.exTime < len(s.exTimes) && s.exTimes[c.exTime] < n {
		c.exTime++
	}
	if c.exTime < len(s.exTimes) && s.exTimes[c.exTime] == n {
		return true
	}
	if len(s.exDays) == 0 {
		return false
	}
	day := floorDiv(n, daySeconds)
	for c.exDay < len(s.exDays) && s.exDays[c.exDay] < day {
		c.exDay++
	}
	return c.exDay < len(s.exDays) && s.exDays[c.exDay] == day
}

// farthestOffset bounds how far local time lies from UTC, in seconds: RFC 8536 §3.2 asks for less than 26 hours.
const farthestOffset = 26 * 3600

// advanceRule finds the rule's next instance, which ends with COUNT, UNTIL or End.
func (c *Cursor) advanceRule() {
	s, r := c.set, c.set.rule
	c.hasRule = false
	if r.count > 0 && c.counted == r.count {
		return
	}
	for {
		n, ok := c.gen.next()
		if !ok || r.until.stops(n) {
			return
		}
		in := s.resolve(n)
		if r.until.excludes(in) || s.omitGaps && in.Kind == zone.Gap {
			continue
		}
		c.rule, c.hasRule = in, true
		c.counted++
		return
	}
}

// excludes reports whether an instance comes after u.
func (u *until) excludes(in Instance) bool {
	switch {
	case u == nil:
		return false
	case u.form == plan.UTC:
		return in.Unix > u.seconds
	}
	return in.Nominal > u.seconds
}

// stops reports whether all instances from nominal time n on come after u. One that falls in a gap can be later
// than the next, so an UNTIL in UTC does not stop at the first instance it excludes.
func (u *until) stops(n int64) bool {
	switch {
	case u == nil:
		return false
	case u.form == plan.UTC:
		return n > u.seconds+farthestOffset
	}
	return n > u.seconds
}
