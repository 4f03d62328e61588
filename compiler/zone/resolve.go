package zone

import "sort"

// Kind says how often a nominal local time happens.
type Kind int

// The three kinds of nominal local time.
const (
	Unique  Kind = iota // once
	Gap                 // never: the clocks skip it
	Overlap             // twice: the clocks are set back over it
)

// String returns "unique", "gap" or "overlap".
func (k Kind) String() string { return [...]string{"unique", "gap", "overlap"}[k] }

// Resolve returns the instant that a nominal local time means by RFC 5545 §3.3.5: the first of the two in an
// overlap; in a gap, that of the offset in force before the gap, so that 02:30 is served when a clock that
// was not set forward shows 02:30.
func (z *Zone) Resolve(nominal int64) (unix int64, kind Kind) {
	// Past laidUntil in either reading, spans are laid out around nominal for this one question.
	if nominal > z.laidUntil-2*secondsPerDay && z.laidUntil != never {
		s := z.footer.spansAround(nominal)
		return s.resolve(s.findLocal(nominal), nominal)
	}
	s := &z.spans
	i := int(z.recent.Load())
	if nominal < s.localEnds[i] || nominal >= s.localEnds[i+1] {
		i = s.findLocal(nominal)
		z.recent.Store(uint32(i))
	}
	return s.resolve(i, nominal)
}

// findLocal returns the first span that ends, by its own clock, after nominal.
func (s *spans) findLocal(nominal int64) int {
	return sort.Search(len(s.starts)-1, func(i int) bool { return s.localEnds[i+1] > nominal })
}

// resolve reads nominal in span i, the first that ends after it. Every earlier span has ended: if i has not
// begun either, nominal lies in the gap between i−1 and i.
func (s *spans) resolve(i int, nominal int64) (unix int64, kind Kind) {
	if i > 0 && nominal < s.starts[i]+int64(s.offsets[i].Seconds) {
		return nominal - int64(s.offsets[i-1].Seconds), Gap
	}
	if next := i + 1; next < len(s.starts) && nominal >= s.starts[next]+int64(s.offsets[next].Seconds) {
		kind = Overlap
	}
	return nominal - int64(s.offsets[i].Seconds), kind
}
