package flasher

import (
	"encoding/binary"
	"errors"
	"fmt"

	"mealtab/compiler/table"
)

// ErrNoPresets means that the table in force has no presets to choose from.
var ErrNoPresets = errors.New("the feeder's plan has no presets")

// PresetChange is a preset that is to be put in force, perhaps until a date. The date stands in the table, so that there may be one to be put
// in force first:
//
//	c, err := f.ProposePreset(1, &day)   // look; nothing has been written
//	if c.Writes() { c.Stage, Commit }    // the same meals, with the date
//	st, err := c.Set()                   // the preset
//
// Whatever ends it between the two leaves the preset that was in force, with a date that means nothing to the first; the same again
// finishes it. The other way round a preset would be left that never ends.
type PresetChange struct {
	*Proposal
	Preset int       // index
	Until  table.Day // at whose 00:00, local time, it ends; 0: never
}

// ProposePreset looks at a feeder on which a preset is to be put in force. until nil leaves the table's date as it is, 0 takes it out.
// Nothing is written.
func (f *Feeder) ProposePreset(preset int, until *table.Day) (*PresetChange, error) {
	st, err := f.Status()
	if err != nil {
		return nil, err
	}
	held, err := f.Table(st)
	if err != nil {
		return nil, err
	}
	t, err := table.Decode(held)
	if err != nil {
		return nil, fmt.Errorf("%s: the table in force is not readable here: %w", f.Port(), err)
	}
	if t.Presets < 2 {
		return nil, fmt.Errorf("%s: %w", f.Port(), ErrNoPresets)
	}
	if preset < 0 || preset >= t.Presets {
		return nil, fmt.Errorf("%s: preset %d is none of the %d of the feeder's plan", f.Port(), preset+1, t.Presets)
	}
	day := t.PresetUntil
	if until != nil {
		day = *until
	}
	tab, err := table.WithPresetUntil(held, day)
	if err != nil {
		return nil, err
	}
	p, err := f.Propose(tab)
	if err != nil {
		return nil, err
	}
	return &PresetChange{p, preset, day}, nil
}

// Set puts the preset in force and returns the feeder's state afterwards, which has been compared: its table is the proposed one, and the
// preset is in force.
func (c *PresetChange) Set() (Status, error) {
	want := c.Held
	if !c.Same {
		want = table.WithSequence(c.Table, c.Status.Sequence+1)
	}
	holds := func() (Status, error) {
		st, err := c.f.Status()
		if err == nil && (st.Bank == NoBank || st.Sequence != want[3] || st.CRC != binary.LittleEndian.Uint16(want[len(want)-2:])) {
			err = fmt.Errorf("%s: another table has come in force meanwhile: do the same again", c.f.Port())
		}
		return st, err
	}
	if st, err := holds(); err != nil {
		return st, err
	}
	if _, _, err := c.f.Settings(c.Preset, Keep); err != nil {
		return Status{}, err
	}
	st, err := holds()
	if err == nil && st.Preset != c.Preset {
		err = fmt.Errorf("%s: the feeder has preset %d in force, not %d: its clock has been beyond the date already, or somebody pressed its plan button", c.f.Port(), st.Preset+1, c.Preset+1)
	}
	return st, err
}
