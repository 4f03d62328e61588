package saved

import (
	"bytes"
	"cmp"
	"slices"

	"mealtab/compiler/table"
)

// Merge is everything that either has. It is the caller's to ask [Same] first whether both are of one feeder.
func Merge(a, b *Log) *Log {
	out := &Log{Feeder: newerFeeder(a, b), Tables: mergeTables(append(slices.Clone(a.Tables), b.Tables...))}
	var notes Run // those that stand before all records
	for _, r := range append(slices.Clone(a.Runs), b.Runs...) {
		if len(r.Records)+len(r.States) == 0 {
			notes = join(notes, r, 0)
			continue
		}
		out.Runs = addRun(out.Runs, r)
	}
	slices.SortFunc(out.Runs, compareRuns)
	switch {
	case len(notes.Notes) == 0:
	case len(out.Runs) == 0:
		out.Runs = []Run{notes}
	default:
		out.Runs[0] = join(out.Runs[0], notes, 0)
	}
	return out
}

// newerFeeder is the feeder as it was read last: a name may change, a sensor may be added.
func newerFeeder(a, b *Log) Feeder {
	switch x, y := a.newest(), b.newest(); {
	case x.After(y):
		return a.Feeder
	case y.After(x):
		return b.Feeder
	}
	f, g := a.Feeder, b.Feeder
	if cmp.Or(cmp.Compare(f.Name, g.Name), cmp.Compare(f.Board, g.Board), cmp.Compare(f.Sensors, g.Sensors), cmp.Compare(f.Slots, g.Slots)) < 0 {
		return g
	}
	return f
}

// mergeTables keeps each once, with names where anybody knew them.
func mergeTables(list []Table) []Table {
	slices.SortFunc(list, func(a, b Table) int {
		return cmp.Or(cmp.Compare(a.Key().Sequence, b.Key().Sequence), bytes.Compare(a.Bytes, b.Bytes), cmp.Compare(len(b.Meals), len(a.Meals)),
			slices.Compare(a.Meals, b.Meals), cmp.Compare(a.Plan, b.Plan), cmp.Compare(a.Zone, b.Zone))
	})
	return slices.CompactFunc(list, func(a, b Table) bool { return bytes.Equal(a.Bytes, b.Bytes) })
}

// addRun joins a run to all that it overlaps: it may close the gap between two.
func addRun(runs []Run, r Run) []Run {
	for {
		joined := false
		for i, old := range runs {
			shift, ok := overlap(old.Records, r.Records)
			if !ok {
				continue
			}
			r = join(old, r, shift)
			runs = slices.Delete(slices.Clone(runs), i, i+1)
			joined = true
			break
		}
		if !joined {
			return append(runs, r)
		}
	}
}

// overlap finds where b begins in a (negative: before it), so that all records that both have are the same; the longest such overlap counts. The
// sequence number alone says little: it comes again after 256 records, the ring has more. Nothing at all overlaps with nothing at all.
func overlap(a, b []table.History) (shift int, ok bool) {
	if len(a) == 0 && len(b) == 0 {
		return 0, true
	}
	longest := 0
	for s := 1 - len(b); s < len(a); s++ {
		n := min(len(a), s+len(b)) - max(0, s)
		if n > longest && slices.Equal(a[max(0, s):][:n], b[max(0, -s):][:n]) {
			longest, shift = n, s
		}
	}
	return shift, longest > 0
}

// join lays b over a.
func join(a, b Run, shift int) Run {
	if shift < 0 {
		return join(b, a, -shift)
	}
	out := Run{Records: slices.Clone(a.Records)}
	if more := shift + len(b.Records) - len(a.Records); more > 0 {
		out.Records = append(out.Records, b.Records[len(b.Records)-more:]...)
	}
	out.States = placeAll(a.States, b.States, shift, stateText)
	out.Notes = placeAll(a.Notes, b.Notes, shift, func(s string) string { return s })
	return out
}

func placeAll[T any](a, b []Placed[T], shift int, text func(T) string) []Placed[T] {
	list := slices.Clone(a)
	for _, p := range b {
		list = append(list, Placed[T]{p.After + shift, p.What})
	}
	slices.SortStableFunc(list, func(p, q Placed[T]) int {
		return cmp.Or(cmp.Compare(p.After, q.After), cmp.Compare(text(p.What), text(q.What)))
	})
	return slices.CompactFunc(list, func(p, q Placed[T]) bool { return p.After == q.After && text(p.What) == text(q.What) })
}
