package fed

import (
	"slices"

	"mealtab/compiler/report/history/saved"
	"mealtab/compiler/table"
)

// force is what was in force at some place among the records. Zero values: not known.
type force struct {
	table  *saved.Table
	preset known
	adjust known
	faults known
}

// known is a number that may be unknown.
type known struct {
	value int
	ok    bool
}

// inForce says what was in force before each record of a run, and after the last: n records, n+1 places. It is known from where the feeder was read,
// forwards and backwards to the next record that says that it changed. Where the two do not agree, something changed without a record, and nobody
// knows when.
func inForce(l *saved.Log, r *saved.Run) []force {
	n := len(r.Records)
	forwards, backwards := make([]force, n+1), make([]force, n+1)
	read := make([]*force, n+1)
	for _, s := range r.States {
		f := force{preset: known{s.What.Preset, true}, adjust: known{s.What.Adjust, true}, faults: known{s.What.Faults, true}}
		if s.What.Table != nil {
			f.table = l.Table(*s.What.Table)
		}
		read[s.After] = &f
	}
	for i := range n + 1 {
		if i > 0 {
			forwards[i] = after(forwards[i-1], r.Records[i-1])
		}
		if read[i] != nil {
			forwards[i] = *read[i]
		}
	}
	for i := n; i >= 0; i-- {
		if i < n {
			backwards[i] = before(backwards[i+1], r.Records[i])
		}
		if read[i] != nil {
			backwards[i] = *read[i]
		}
	}
	for i := range forwards {
		forwards[i] = agreed(forwards[i], backwards[i])
	}
	return forwards
}

// after is what is in force when a record has been written.
func after(f force, h table.History) force {
	switch h.Event {
	case table.EventTable:
		f.table = nil
	case table.EventPreset:
		f.preset = known{int(h.Value), true}
	case table.EventAdjust:
		f.adjust = known{int(h.Value), true}
	case table.EventFault:
		f.faults.value |= int(h.Value)
		if h.Value&table.FaultBitTableDamaged != 0 {
			f.table = nil // the other bank's is in force
		}
	case table.EventCleared:
		f.faults.value &^= int(h.Value)
	}
	return f
}

// before is what was in force before a record was written.
func before(f force, h table.History) force {
	switch h.Event {
	case table.EventTable:
		f.table, f.preset = nil, known{} // a table with fewer presets begins with the first
	case table.EventPreset:
		f.preset = known{}
	case table.EventAdjust:
		f.adjust = known{}
	case table.EventFault:
		f.faults.value &^= int(h.Value)
		if h.Value&table.FaultBitTableDamaged != 0 {
			f.table = nil
		}
	case table.EventCleared:
		f.faults.value |= int(h.Value)
	}
	return f
}

func agreed(a, b force) force {
	switch {
	case a.table == nil:
		a.table = b.table
	case b.table != nil && !slices.Equal(a.table.Bytes, b.table.Bytes):
		a.table = nil
	}
	a.preset, a.adjust = agree(a.preset, b.preset), agree(a.adjust, b.adjust)
	if !a.faults.ok {
		a.faults = b.faults
	}
	a.faults.value |= b.faults.value
	return a
}

func agree(a, b known) known {
	switch {
	case !a.ok:
		return b
	case b.ok && a != b:
		return known{}
	}
	return a
}
