package table

import (
	"fmt"
)

// Decode reads a table. Any bytes may be given: it never panics and its time is bounded by their number.
// The error is an [*Error] naming the broken field. Bytes after the framed length are an error too.
func Decode(b []byte) (*Table, error) {
	t, _, err := decode(b, false)
	return t, err
}

// Reads reports whether the first byte of a table says a version that is read here.
func Reads(first byte) bool { return first>>4 >= OldestVersion && first>>4 <= Version }

// Length returns the length that the first two bytes frame, or an error if they frame no table of this version.
// At least two bytes must be given.
func Length(b []byte) (int, error) {
	if len(b) < 2 {
		return 0, &Error{"length", 0, fmt.Sprintf("%d bytes are too few for a table", len(b))}
	}
	if !Reads(b[offVersionLength]) {
		return 0, &Error{"version", offVersionLength, fmt.Sprintf("format version %d, this program reads versions %d and %d", b[offVersionLength]>>4, OldestVersion, Version)}
	}
	n := int(b[offVersionLength]&0x0F)<<8 | int(b[offLengthLow])
	if n < minSize {
		return 0, &Error{"length", offVersionLength, fmt.Sprintf("%d bytes, a table has at least %d", n, minSize)}
	}
	return n, nil
}

func decode(b []byte, list bool) (*Table, []Line, error) {
	r := &reader{b: b, list: list}
	if err := r.frame(); err != nil {
		return nil, nil, err
	}
	t := &Table{Through: MaxDay, Late: DefaultLate}
	r.header(t)
	r.sections(t)
	r.meals(t)
	r.b = b
	r.take(crcSize)
	r.note("CRC", "CRC-16/IBM-SDLC of the bytes before")
	r.check(func(c *checker) {
		c.table(t)
		c.prefix = ""
		c.searchWork(r.work)
	})
	if r.err != nil {
		return nil, nil, r.err
	}
	return t, r.lines, nil
}

// check holds what was read to the ranges of the format.
func (r *reader) check(holds func(*checker)) {
	if r.err == nil {
		c := &checker{}
		holds(c)
		r.err = c.err
	}
}

// reader takes the bytes one after the other; after the first fault every read gives zero.
type reader struct {
	b     []byte // without the CRC once the frame has been checked
	pos   int
	err   error
	list  bool
	mark  int // first byte that no line describes yet
	lines []Line
	start int // of the rule in hand
	work  int // of the positions of all rules so far
}

func (r *reader) frame() error {
	n, err := Length(r.b)
	if err != nil {
		return err
	}
	if n != len(r.b) {
		return &Error{"length", offVersionLength, fmt.Sprintf("the head says %d bytes, there are %d", n, len(r.b))}
	}
	body := n - crcSize
	if got, want := uint16(r.b[body])|uint16(r.b[body+1])<<8, CRC(r.b[:body]); got != want {
		return &Error{"CRC", body, fmt.Sprintf("found %04X, the bytes give %04X", got, want)}
	}
	r.b = r.b[:body]
	return nil
}

func (r *reader) fail(field, format string, args ...any) {
	if r.err == nil {
		r.err = &Error{field, r.mark, fmt.Sprintf(format, args...)}
	}
}

var zeros [4]byte

func (r *reader) take(n int) []byte {
	if r.err == nil && r.pos+n > len(r.b) {
		r.fail("end", "the table ends in the middle of a field")
	}
	if r.err != nil {
		return zeros[:n]
	}
	r.pos += n
	return r.b[r.pos-n : r.pos]
}

func (r *reader) u8() int { return int(r.take(1)[0]) }
func (r *reader) i8() int { return int(int8(r.take(1)[0])) }
func (r *reader) u16() uint16 {
	b := r.take(2)
	return uint16(b[0]) | uint16(b[1])<<8
}
func (r *reader) offset() int8 { return int8(r.read(&offsetOperand).n) }
func (r *reader) day() Day     { return Day(r.u16()) }

// number reads groups of seven bits, the highest first.
func (r *reader) number() (v uint32) {
	for i := 0; r.err == nil; i++ {
		x := r.take(1)[0]
		if x == 0x80 && i == 0 {
			r.fail("number", "written longer than it needs to be")
		}
		if v > MaxNumber>>7 {
			r.fail("number", "more than %d", MaxNumber)
		}
		v = v<<7 | uint32(x&0x7F)
		if x < 0x80 {
			return v
		}
	}
	return 0
}

func (r *reader) signed() int { return signedOf(r.number()) }

func signedOf(code uint32) int { return int(int32(code>>1) ^ -int32(code&1)) }

// cycle is a period and a phase of what [cycleOf] makes of them.
func (r *reader) cycle(last, shift, epoch uint32) (period, phase uint32) {
	if shift > last {
		r.fail("shift", "%d in a period of %d", shift, last+1)
	}
	return last + 1, negative(shift+epoch, last+1)
}

func (r *reader) header(t *Table) {
	r.take(2)
	r.note("VERSION, LENGTH", "format version %d, %d bytes", r.version(), len(r.b)+crcSize)
	t.Board = uint8(r.u8())
	r.note("BOARD", "board profile %d", t.Board)
	t.Sequence = uint8(r.u8())
	r.note("SEQUENCE", "%d", t.Sequence)
	r.pos++ // the flags are listed by sections
	r.note("FLAGS", "%s", flagNames(r.b[offFlags]))
	t.Start = r.day()
	r.note("START", "nothing is served before %s", t.Start)
	t.Zone.GapOmit = r.b[offFlags]&flagGapOmit != 0
	t.Zone.Standard = r.offset()
	r.note("ZONE", "standard time UTC%s%s", offsetText(t.Zone.Standard), map[bool]string{true: ", instances in a gap are dropped"}[t.Zone.GapOmit])
	w := [4]uint32{}
	for i := range wheelOperands {
		w[i] = r.read(&wheelOperands[i]).n
	}
	t.Wheel = Wheel{TurnMillis: w[0], PocketUnits: w[1], UnitMg: w[2], TrimMicros: int32(w[3])}
	r.note("WHEEL", "%s", t.Wheel)
}

func (r *reader) sections(t *Table) {
	f := int(r.b[offFlags])
	if f&flagDST != 0 {
		t.Zone.DST = r.dst()
	}
	if f&flagOverrides != 0 {
		t.Zone.Overrides = r.overrides()
	}
	if f&flagThrough != 0 {
		t.Through = Day(r.read(&throughOperand).n)
		r.note("THROUGH", "right up to %s", t.Through)
	}
	if f&flagLate != 0 {
		t.Late = int(r.read(&lateOperand).n)
		r.note("LATE", "a missed serving is given up to %d min late", t.Late)
	}
	t.Button = DefaultButton(t.Wheel)
	if f&flagButton != 0 {
		t.Button.Portion = r.read(&portionOperand).n
		presses := r.u8()
		t.Button.PerHour, t.Button.PerDay = presses&0xF, presses>>4
		r.note("BUTTON", "a press feeds %s, at most %d an hour and %d a day", counted(t.Button.Portion, "unit"), min(t.Button.PerHour, MaxPerHour), t.Button.Daily())
	}
	if f&flagPresets != 0 {
		r.presets(t)
	}
	if f&flagRules != 0 {
		r.rules(t)
	}
}

// version is that of a table whose frame has been checked.
func (r *reader) version() int { return int(r.b[offVersionLength] >> 4) }

func (r *reader) presets(t *Table) {
	dated := r.version() >= 3 && r.pos < len(r.b) && r.b[r.pos]&presetsUntil != 0
	if dated {
		t.Presets = r.u8() &^ presetsUntil
	} else {
		t.Presets = int(r.read(&presetsOperand).n)
	}
	r.note("PRESETS", "%d presets", t.Presets)
	if dated {
		t.PresetUntil = Day(r.read(&untilOperand).n)
		r.note("PRESETS UNTIL", "from %s on the first preset is in force again", t.PresetUntil)
	}
}

func (r *reader) dst() *DST {
	d := &DST{Shift: r.offset()}
	r.note("DST", "daylight saving shifts by %s", offsetText(d.Shift))
	d.Start = r.transition()
	r.note("DST start", "%s", d.Start)
	d.End = r.transition()
	r.note("DST end", "%s", d.End)
	return d
}

func (r *reader) transition() Transition {
	place := r.u8()
	time := int(int16(r.u16()))
	return Transition{Month: place>>4 + 1, Week: place&0xF + 1, Weekday: time & 7, Minutes: time >> 3}
}

func (r *reader) overrides() []OverrideGroup {
	quarter := r.u8()
	if quarter != 1 && quarter != 2 && quarter != 4 {
		r.fail("OVERRIDES unit", "%d quarter hours, not 1, 2 or 4", quarter)
	}
	unit := Minute(quarter * quarterMinutes)
	groups := make([]OverrideGroup, 0, 1)
	n := r.read(&groupsOperand).n
	r.note("OVERRIDES", "%s of spans, counted in %d min", counted(n, "group"), unit)
	for ; n > 0 && r.err == nil; n-- {
		groups = append(groups, r.overrideGroup(unit))
	}
	return groups
}

func (r *reader) overrideGroup(unit Minute) OverrideGroup {
	g := OverrideGroup{Offset: r.offset()}
	r.note("OVERRIDES offset", "UTC%s in spans", offsetText(g.Offset))
	sum, end := uint32(0), spanEpoch
	for r.err == nil {
		distance := r.number()
		if distance == 0 {
			break
		}
		length := r.number()
		if sum = sum + distance + length; distance >= MaxSpanUnits || length >= MaxSpanUnits || sum >= MaxSpanUnits {
			r.fail("OVERRIDES span", "the distances and lengths of a group sum up to %d units or more", MaxSpanUnits)
			break
		}
		start := end + Minute(distance)*unit
		end = start + Minute(length)*unit
		g.Spans = append(g.Spans, Span{start, end})
		r.note("OVERRIDES span", "%s to %s", start, end)
	}
	r.note("OVERRIDES end", "%s", counted(uint32(len(g.Spans)), "span"))
	return g
}

func (r *reader) rules(t *Table) {
	n := r.read(&rulesOperand).n
	r.note("RULES", "%s", counted(n, "day rule"))
	for i := 1; i <= int(n) && r.err == nil; i++ {
		t.Rules = append(t.Rules, r.rule(i))
	}
}
