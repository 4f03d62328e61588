package recur

import "mealtab/compiler/zone"

// InstantCursor walks a set in order of instants, each once.
//
// Nominal order is the order of instants but for gaps: a time in a gap is moved behind the gap, where it may come
// after, or fall together with, times that follow it. Two changes of a zone lie further apart than a gap is wide,
// so an instance that is not in a gap is earlier than all that come after it by the clock.
type InstantCursor struct {
	cursor  *Cursor
	waiting []Instance // ascending by Unix, distinct
	done    bool
}

// Instants starts a walk at the beginning of the set.
func (s *Set) Instants() *InstantCursor { return &InstantCursor{cursor: s.Cursor()} }

// Next yields the next instant's instance. Of two instances at one instant it is the one whose local time exists.
func (c *InstantCursor) Next() (Instance, bool) {
	for !c.done && (len(c.waiting) == 0 || c.waiting[0].Kind == zone.Gap) {
		in, ok := c.cursor.Next()
		if !ok {
			c.done = true
			break
		}
		if len(c.waiting) == 0 && in.Kind != zone.Gap {
			return in, true
		}
		c.insert(in)
		if in.Kind != zone.Gap { // all that come later come after it
			break
		}
	}
	if len(c.waiting) == 0 {
		return Instance{}, false
	}
	first := c.waiting[0]
	c.waiting = c.waiting[:copy(c.waiting, c.waiting[1:])]
	return first, true
}

func (c *InstantCursor) insert(in Instance) {
	i := len(c.waiting)
	for i > 0 && c.waiting[i-1].Unix > in.Unix {
		i--
	}
	if i > 0 && c.waiting[i-1].Unix == in.Unix {
		if c.waiting[i-1].Kind == zone.Gap {
			c.waiting[i-1] = in
		}
		return
	}
	c.waiting = append(c.waiting, Instance{})
	copy(c.waiting[i+1:], c.waiting[i:])
	c.waiting[i] = in
}
