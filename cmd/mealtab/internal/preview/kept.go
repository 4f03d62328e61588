package preview

import (
	"mealtab/compiler/replay"
	"mealtab/compiler/table"
	"mealtab/flasher"
)

// KeptDate is the proposed table with the date by which the feeder ends the preset that it has in force, where the table says no date: nobody
// who changes a meal means that "away" is to last for ever. ok is false where there is nothing to keep: the first preset is in force, its
// end has passed, the proposed table has a date of its own or lacks that preset, or the date does not lie within it.
func KeptDate(p *flasher.Proposal) (tab []byte, day table.Day, ok bool) {
	st := p.Status
	held, err := table.Decode(p.Held)
	if err != nil || st.Preset == 0 || held.PresetUntil == 0 || replay.PresetEndAfter(held, max(st.Cursor, table.MinuteOf(st.Now.Unix()))) == 0 {
		return nil, 0, false
	}
	next, err := table.Decode(p.Table)
	if err != nil || next.PresetUntil != 0 || st.Preset >= next.Presets || held.PresetUntil <= next.Start || held.PresetUntil > next.Through {
		return nil, 0, false
	}
	tab, err = table.WithPresetUntil(p.Table, held.PresetUntil)
	return tab, held.PresetUntil, err == nil
}
