package table

import (
	"fmt"
	"math/bits"
	"reflect"
	"slices"
)

// Encode returns the bytes of t: the same bytes for the same t, whatever the order in which it was built.
// It refuses what the format cannot hold, naming the field; see [Check] for the ranges.
func Encode(t *Table) ([]byte, error) {
	if err := Check(t); err != nil {
		return nil, err
	}
	w := &writer{b: make([]byte, 0, 64)}
	w.header(t)
	w.sections(t)
	for i := range t.Meals {
		w.meal(&t.Meals[i])
	}
	n := len(w.b) + crcSize
	if n > MaxSize {
		return nil, &Error{Field: "length", Offset: -1, Message: fmt.Sprintf("%d bytes, the format frames at most %d", n, MaxSize)}
	}
	w.b[offVersionLength] = byte(t.Version())<<4 | byte(n>>8)
	w.b[offLengthLow] = byte(n)
	w.u16(CRC(w.b))
	return w.b, nil
}

// WithSequence returns a copy of the encoded table with another sequence number and the check to match.
// The bytes must frame a table; only their length is trusted.
func WithSequence(encoded []byte, sequence uint8) []byte {
	out := append([]byte(nil), encoded...)
	out[offSequence] = sequence
	body := out[:len(out)-crcSize]
	crc := CRC(body)
	return append(body, byte(crc), byte(crc>>8))
}

// WithPresetUntil returns the encoded table with another date that ends a preset, 0: none, and all else as it was: what is read back
// from it is compared. A table that has this date already comes back as it is.
func WithPresetUntil(encoded []byte, until Day) ([]byte, error) {
	t, err := Decode(encoded)
	if err != nil || t.PresetUntil == until {
		return encoded, err
	}
	before := t.PresetUntil
	t.PresetUntil = until
	out, err := Encode(t)
	if err != nil {
		return nil, err
	}
	again, err := Decode(out)
	if err != nil {
		return nil, err
	}
	was, err := Decode(encoded)
	if err != nil {
		return nil, err
	}
	again.PresetUntil = before
	if !reflect.DeepEqual(again, was) {
		return nil, fmt.Errorf("internal error: another date in the table would change more than the date")
	}
	return out, nil
}

type writer struct {
	b     []byte
	start int // of the rule in hand
	last  int // where its last term stands
	work  int // of the positions of all rules so far
}

func (w *writer) u8(v int)     { w.b = append(w.b, byte(v)) }
func (w *writer) u16(v uint16) { w.b = append(w.b, byte(v), byte(v>>8)) }

// signedCode numbers 0, -1, 1, -2, 2 and so on.
func signedCode(v int) uint32 { return uint32(v<<1 ^ v>>31) }

// number writes v in groups of seven bits, the highest first; bit 7 says that another follows.
func (w *writer) number(v uint32) {
	groups := max(1, (bits.Len32(v)+6)/7)
	for i := groups - 1; i > 0; i-- {
		w.u8(int(0x80 | v>>(7*i)))
	}
	w.u8(int(v & 0x7F))
}

// list writes numbers above 0 in ascending order, each as the distance from the one before, and a 0.
func (w *writer) list(numbers []uint32) {
	slices.Sort(numbers)
	last := uint32(0)
	for _, n := range slices.Compact(numbers) {
		w.number(n - last)
		last = n
	}
	w.number(0)
}

// cycleOf is the operands for a period: its last unit, and what to add to a unit that is phase modulo period, so that the sum is 0 modulo
// period. The table's units count from epoch, a negative number of them.
func cycleOf(period, phase, epoch uint32) []value {
	return []value{number(period - 1), number(negative(phase+epoch, period))}
}

// negative is -v modulo period.
func negative(v, period uint32) uint32 { return (period - v%period) % period }

func (w *writer) header(t *Table) {
	w.u16(0)
	w.u8(int(t.Board))
	w.u8(int(t.Sequence))
	w.u8(flags(t))
	w.u16(uint16(t.Start))
	w.u8(int(t.Zone.Standard))
	for i, v := range []uint32{t.Wheel.TurnMillis, t.Wheel.PocketUnits, t.Wheel.UnitMg, uint32(t.Wheel.TrimMicros)} {
		w.write(&wheelOperands[i], number(v))
	}
}

func flags(t *Table) int {
	f := 0
	for _, s := range []struct {
		bit     int
		present bool
	}{
		{flagDST, t.Zone.DST != nil},
		{flagOverrides, len(t.Zone.Overrides) > 0},
		{flagThrough, t.Through != MaxDay},
		{flagLate, t.Late != DefaultLate},
		{flagButton, t.Button != DefaultButton(t.Wheel)},
		{flagPresets, t.Presets > 0},
		{flagRules, len(t.Rules) > 0},
		{flagGapOmit, t.Zone.GapOmit},
	} {
		if s.present {
			f |= s.bit
		}
	}
	return f
}

// DefaultButton is what a table without a button section means: one pocket, twice an hour, six times a day.
func DefaultButton(w Wheel) Button { return Button{Portion: w.PocketUnits, PerHour: DefaultPerHour} }

func (w *writer) sections(t *Table) {
	f := flags(t)
	if f&flagDST != 0 {
		w.dst(t.Zone.DST)
	}
	if f&flagOverrides != 0 {
		w.overrides(t.Zone.Overrides)
	}
	if f&flagThrough != 0 {
		w.u16(uint16(t.Through))
	}
	if f&flagLate != 0 {
		w.number(uint32(t.Late))
	}
	if f&flagButton != 0 {
		w.number(t.Button.Portion)
		w.u8(t.Button.PerHour | t.Button.PerDay<<4)
	}
	if f&flagPresets != 0 {
		if t.PresetUntil == 0 {
			w.u8(t.Presets)
		} else {
			w.u8(t.Presets | presetsUntil)
			w.u16(uint16(t.PresetUntil))
		}
	}
	if f&flagRules != 0 {
		w.u8(len(t.Rules))
		for i := range t.Rules {
			w.rule(&t.Rules[i])
		}
	}
}

func (w *writer) dst(d *DST) {
	w.u8(int(d.Shift))
	w.transition(d.Start)
	w.transition(d.End)
}

func (w *writer) transition(t Transition) {
	w.u8((t.Month-1)<<4 | (t.Week - 1))
	w.u16(uint16(t.Minutes<<3 | t.Weekday))
}

func (w *writer) overrides(groups []OverrideGroup) {
	unit := overrideUnit(groups)
	w.u8(int(unit) / quarterMinutes)
	w.u8(len(groups))
	for _, g := range groups {
		w.u8(int(g.Offset))
		end := spanEpoch
		for _, s := range g.Spans {
			w.number(uint32((s.Start - end) / unit))
			w.number(uint32((s.End - s.Start) / unit))
			end = s.End
		}
		w.number(0)
	}
}

// overrideUnit is the longest of an hour, half and a quarter that divides every bound.
func overrideUnit(groups []OverrideGroup) Minute {
	for _, unit := range []Minute{60, 30} {
		if overridesDivide(groups, unit) {
			return unit
		}
	}
	return quarterMinutes
}

func overridesDivide(groups []OverrideGroup, unit Minute) bool {
	for _, g := range groups {
		for _, s := range g.Spans {
			if s.Start%unit != 0 || s.End%unit != 0 {
				return false
			}
		}
	}
	return true
}

func (w *writer) meal(m *Meal) {
	for i, p := range m.Parts {
		form, times := encodeTimes(p.Times)
		head := form<<headFormShift | min(p.Rule, headRuleEscape)
		if i < len(m.Parts)-1 {
			head |= headMore
		}
		if i == 0 && m.Presets != 0 {
			head |= headPresets
		}
		w.u8(head)
		if head&headPresets != 0 {
			w.u8(int(m.Presets))
		}
		if i == 0 {
			w.number(m.Portion)
		}
		if p.Rule >= headRuleEscape {
			w.number(uint32(p.Rule))
		}
		w.b = append(w.b, times...)
	}
}

// encodeTimes returns the smallest form and its bytes; on a tie the one that reads easiest, the list.
func encodeTimes(t Times) (form int, b []byte) {
	if t.Cycle != nil {
		return formCycle, encodeCycle(t.Cycle)
	}
	form, b = encodeList(t.List)
	if steps, ok := encodeSteps(t.List); ok && len(steps) < len(b) {
		form, b = formSteps, steps
	}
	if grid, ok := encodeGrid(t.List); ok && len(grid) < len(b) {
		form, b = formGrid, grid
	}
	return form, b
}

// Regular reports whether times are steps or a grid, so that any number of them is a few bytes.
func Regular(list []uint16) bool {
	_, steps := encodeSteps(list)
	_, grid := encodeGrid(list)
	return steps || grid
}

func encodeCycle(c *Cycle) []byte {
	w := &writer{}
	every := cycleOf(c.Period, c.Phase+1, epochDays*MinutesPerDay)
	w.form(formCycle, every[0].n, every[1].n, AllHours&^c.Hours)
	return w.b
}

// form writes the operands of a form of times.
func (w *writer) form(code int, values ...uint32) {
	for i, v := range values {
		w.write(&formOf(code).Operands[i], number(v))
	}
}

func encodeList(list []uint16) (form int, b []byte) {
	w := &writer{}
	form = len(list) - 1
	if len(list) > formList {
		form = formList
		if len(list) > MaxListTimes { // a longer list has steps or a grid
			return form, make([]byte, MaxSize)
		}
		w.form(formList, uint32(len(list)))
	}
	w.times(list)
	return form, w.b
}

// times writes each time as the distance from the one before.
func (w *writer) times(list []uint16) {
	last := uint16(0)
	for _, m := range list {
		w.time(m - last)
		last = m
	}
}

func (w *writer) time(m uint16) {
	if m%quarterMinutes == 0 {
		w.number(uint32(m / quarterMinutes))
		return
	}
	w.number(uint32(m + quarters))
}

func encodeSteps(list []uint16) ([]byte, bool) {
	if len(list) < 2 {
		return nil, false
	}
	step := list[1] - list[0]
	for i := 2; i < len(list); i++ {
		if list[i]-list[i-1] != step {
			return nil, false
		}
	}
	w := &writer{}
	w.form(formSteps, uint32(len(list)), uint32(step), uint32(list[0]))
	return w.b, true
}

func encodeGrid(list []uint16) ([]byte, bool) {
	var hours uint32
	var minutes uint64
	for _, m := range list {
		hours |= 1 << (m / 60)
		minutes |= 1 << (m % 60)
	}
	if bits.OnesCount32(hours)*bits.OnesCount64(minutes) != len(list) {
		return nil, false
	}
	w := &writer{}
	w.form(formGrid, AllHours&^hours, uint32(bits.OnesCount64(minutes)))
	var within []uint16
	for m := range uint16(60) {
		if minutes>>m&1 != 0 {
			within = append(within, m)
		}
	}
	w.times(within)
	return w.b, true
}
