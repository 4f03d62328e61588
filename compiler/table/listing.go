package table

import (
	"fmt"
	"io"
	"strings"
	"time"

	"mealtab/compiler/units"
)

// Line is one line of a listing: the bytes of one field and what they say.
type Line struct {
	Offset int
	Bytes  []byte
	Field  string
	Text   string
}

// Listing explains every byte of an encoded table, in order, none left out.
func Listing(b []byte) ([]Line, error) {
	if _, err := Decode(b); err != nil { // so that no text is made of what has not been checked
		return nil, err
	}
	_, lines, err := decode(b, true)
	return lines, err
}

// WriteListing writes the lines as text: offset, bytes, field, meaning. Long runs of bytes are folded.
func WriteListing(w io.Writer, lines []Line) error {
	const perRow = 7
	for _, l := range lines {
		for i := 0; i < len(l.Bytes); i += perRow {
			row := l.Bytes[i:min(i+perRow, len(l.Bytes))]
			field, text := l.Field, l.Text
			if i > 0 {
				field, text = "", ""
			}
			line := fmt.Sprintf("%04X  %-20s  %-20s %s", l.Offset+i, fmt.Sprintf("% X", row), field, text)
			if _, err := fmt.Fprintln(w, strings.TrimRight(line, " ")); err != nil {
				return err
			}
		}
	}
	return nil
}

// note describes the bytes read since the last note.
func (r *reader) note(field, format string, args ...any) {
	if r.list && r.err == nil && r.pos > r.mark {
		r.lines = append(r.lines, Line{r.mark, r.b[r.mark:r.pos], field, fmt.Sprintf(format, args...)})
	}
	if r.err == nil {
		r.mark = r.pos
	}
}

// noteOf describes a field of the n-th rule or meal.
func (r *reader) noteOf(what string, n int, field, format string, args ...any) {
	if r.list {
		field = fmt.Sprintf("%s %d %s", what, n, field)
	}
	r.note(field, format, args...)
}

// Date returns midnight UTC of the day.
func (d Day) Date() time.Time { return time.Date(2000, 1, 1+int(d), 0, 0, 0, 0, time.UTC) }

func (d Day) String() string { return d.Date().Format("2006-01-02") }

// Time returns the minute as an instant.
func (m Minute) Time() time.Time { return time.Unix(m.Unix(), 0).UTC() }

// Unix returns the minute in Unix seconds.
func (m Minute) Unix() int64 { return int64(m)*60 + Epoch }

// MinuteOf returns the minute in which an instant lies, given in Unix seconds.
func MinuteOf(unix int64) Minute {
	seconds := unix - Epoch
	if seconds < 0 {
		seconds -= 59
	}
	return Minute(seconds / 60)
}

func (m Minute) String() string { return m.Time().Format("2006-01-02T15:04Z") }

// Epoch is 2000-01-01T00:00Z in Unix seconds.
const Epoch = 946684800

func offsetText(quarters int8) string {
	sign, q := "+", int(quarters)
	if q < 0 {
		sign, q = "-", -q
	}
	return fmt.Sprintf("%s%02d:%02d", sign, q/4, q%4*15)
}

func flagNames(f byte) string {
	var names []string
	for _, s := range Sections() {
		if int(f)&s.Value != 0 {
			names = append(names, s.Name)
		}
	}
	if names == nil {
		return "no sections"
	}
	return "sections " + strings.Join(names, " ")
}

var weekdayShort = [7]string{"Mo", "Tu", "We", "Th", "Fr", "Sa", "Su"}

func weekdayNames(mask uint8) string {
	if mask == AnyWeekday {
		return "any weekday"
	}
	var names []string
	for i, n := range weekdayShort {
		if mask>>i&1 != 0 {
			names = append(names, n)
		}
	}
	return strings.Join(names, " ")
}

func (t Transition) String() string {
	week := [...]string{"", "first", "second", "third", "fourth", "last"}
	w := "?"
	if t.Week >= 1 && t.Week <= 5 {
		w = week[t.Week]
	}
	return fmt.Sprintf("%s %s of %s at %s", w, weekdayShort[t.Weekday%7], time.Month(t.Month), wallText(t.Minutes))
}

// wallText shows minutes after midnight, which may lie outside the day.
func wallText(minutes int) string {
	sign := ""
	if minutes < 0 {
		sign, minutes = "-", -minutes
	}
	return fmt.Sprintf("%s%02d:%02d", sign, minutes/60, minutes%60)
}

func (w Wheel) String() string {
	turn := "turn time of the board"
	if w.TurnMillis > 0 {
		turn = fmt.Sprintf("%d ms a pocket", w.TurnMillis)
	}
	mass := "counted in pockets"
	if w.UnitMg > 0 {
		mass = fmt.Sprintf("%s of %d mg in a pocket", counted(w.PocketUnits, "unit"), w.UnitMg)
	}
	return fmt.Sprintf("%s, %s, stop pulse %+d us", turn, mass, w.TrimMicros)
}

func (w *Wheel) portionText(massUnits uint32) string {
	if w.UnitMg == 0 {
		return fmt.Sprintf("%s, %d in a pocket", counted(massUnits, "unit"), w.PocketUnits)
	}
	return fmt.Sprintf("%s, %s", counted(massUnits, "unit"), units.Milligrams(int64(massUnits)*int64(w.UnitMg)).InGrams())
}

func counted(n uint32, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func (t Times) String() string {
	if c := t.Cycle; c != nil {
		s := fmt.Sprintf("every %d min from minute %d", c.Period, c.Phase)
		if c.Hours != AllHours {
			s += fmt.Sprintf(", hours %06X", c.Hours)
		}
		return s
	}
	var b strings.Builder
	for i, m := range t.List {
		if i == 8 && len(t.List) > 9 {
			fmt.Fprintf(&b, " … %s (%d times)", wallText(int(t.List[len(t.List)-1])), len(t.List))
			break
		}
		if i > 0 {
			b.WriteByte(' ')
		}
		b.WriteString(wallText(int(m)))
	}
	return b.String()
}

func headText(head int) string {
	rule := "every day"
	switch n := head & headRuleMask; {
	case n == headRuleEscape:
		rule = "rule number follows"
	case n > 0:
		rule = fmt.Sprintf("rule %d", n)
	}
	more := ""
	if head&headMore != 0 {
		more = ", another part follows"
	}
	return rule + ", " + formText(head>>headFormShift&headFormMask) + more
}

func formText(form int) string {
	switch form {
	case formList:
		return "a list of times"
	case formSteps:
		return "steps"
	case formGrid:
		return "hours and minutes"
	case formCycle:
		return "a cycle"
	case 0:
		return "1 time"
	}
	return fmt.Sprintf("%d times", form+1)
}
