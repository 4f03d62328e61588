package zone

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"mealtab/compiler/zone/internal/tzif"
)

const (
	always = math.MinInt64 // start of the first span
	never  = math.MaxInt64 // end of the last
)

// The years for which a footer's rule is laid out in spans when a zone is loaded. Nobody observed daylight
// saving before 1908, so a rule that the file starts earlier (or that is all the file has) is applied
// from 1900. The last year is one more than the table's calendar needs.
const (
	firstRuleYear = 1900
	lastRuleYear  = 2101
)

// spans cuts time into intervals of constant offset: offsets[i] holds from starts[i] until starts[i+1].
type spans struct {
	starts  []int64 // Unix seconds, ascending; starts[0] = always
	offsets []Offset
	// localEnds[i+1] is the latest nominal time at which any of the spans 0 to i ends (exclusive), and
	// localEnds[0] = always. Ascending even where data set the clock back by more than a span's length.
	localEnds []int64
}

// add appends a span; one that changes nothing, as fat files have them in 2037, is dropped.
func (s *spans) add(start int64, o Offset) {
	n := len(s.starts)
	if n > 0 && s.starts[n-1] == start {
		n-- // the earlier one has no length
		s.starts, s.offsets = s.starts[:n], s.offsets[:n]
	}
	if n > 0 && s.offsets[n-1] == o {
		return
	}
	s.starts, s.offsets = append(s.starts, start), append(s.offsets, o)
}

// reserve makes room for n more spans.
func (s *spans) reserve(n int) {
	s.starts, s.offsets = slices.Grow(s.starts, n), slices.Grow(s.offsets, n)
}

// finish computes localEnds.
func (s *spans) finish() {
	s.localEnds = make([]int64, len(s.starts)+1)
	s.localEnds[0] = always
	for i := 1; i < len(s.starts); i++ {
		s.localEnds[i] = max(s.localEnds[i-1], s.starts[i]+int64(s.offsets[i-1].Seconds))
	}
	s.localEnds[len(s.starts)] = never
}

// contains reports whether span i is in force at unix.
func (s *spans) contains(i int, unix int64) bool {
	return s.starts[i] <= unix && (i+1 == len(s.starts) || unix < s.starts[i+1])
}

// find returns the span in force at unix.
func (s *spans) find(unix int64) int {
	return sort.Search(len(s.starts)-1, func(i int) bool { return s.starts[i+1] > unix })
}

// build lays out the transitions of the file and, after the last of them, those of the footer's rule.
func (z *Zone) build(data *tzif.Data) error {
	offsets := make([]Offset, len(data.Types))
	for i, t := range data.Types {
		offsets[i] = Offset{Seconds: t.Seconds, Abbrev: t.Abbrev, DST: t.DST}
	}
	n := len(data.Transitions)
	z.spans.reserve(n + 1)
	if n > 0 || !z.footed {
		z.spans.add(always, offsets[0])
	} else {
		z.spans.add(always, z.footer.Std) // RFC 9636 §3.3: without transitions the footer rules all time
	}
	for _, t := range data.Transitions {
		if t.At < earliest || t.At > latest {
			return fmt.Errorf("transition at %d s is further from 1970 than ±2^59 s", t.At)
		}
		z.spans.add(t.At, offsets[t.Type])
	}
	if z.footed {
		if err := z.addFooter(data, offsets); err != nil {
			return err
		}
	}
	z.spans.finish()
	return nil
}

// RFC 9636 §3.2 advises against times before −2^59 (the Big Bang); the same bound above keeps every sum of
// a time and an offset inside 64 bits.
const (
	earliest = -1 << 59
	latest   = 1 << 59
)

func (z *Zone) addFooter(data *tzif.Data, offsets []Offset) error {
	last := int64(earliest)
	if n := len(data.Transitions); n > 0 {
		last = data.Transitions[n-1].At
		want, got := offsets[data.Transitions[n-1].Type].Seconds, z.footer.At(last).Seconds
		if want != got { // RFC 9636 §3.3 demands agreement; guessing which is right could move every meal
			return fmt.Errorf("footer %q gives offset %d s at the last transition, which says %d s", z.footer.Text, got, want)
		}
	}
	if z.footer.DST == nil {
		return nil
	}
	first := max(yearOf(last)-1, firstRuleYear)
	final := max(first+3, lastRuleYear)
	events := z.footer.events(first, final)
	z.spans.reserve(len(events))
	for _, e := range events {
		if e.at > last {
			z.spans.add(e.at, z.footer.offsetAfter(e))
		}
	}
	// The rules of the year after may reach back into this one by 167 h and an offset, and no further.
	z.laidUntil = startOfYear(final+1) - 30*secondsPerDay
	return nil
}
