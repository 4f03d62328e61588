package scenario

import (
	"fmt"
	"time"

	"mealtab/compiler/table"
)

// Lamp reads the feeder's light: groups of flashes. A group of 1 to 7 short flashes shows the fault of that number; a long flash
// comes before those from 8 on.
type Lamp struct {
	on, off time.Time // of the last flash
	code    int       // of the group under way
	first   time.Time // its first flash
	quick   bool      // flashes follow faster than those of a fault: a wink

	// Group is told of each group when the next one begins, or at Settle.
	Group func(code int, from time.Time)
	// Wink, if set, is told of each quick double flash, which says that a preset other than the first is in force.
	Wink func(from time.Time)
}

const (
	longFlash = 300 * time.Millisecond // short ones take 32 ms, long ones half a second
	groupGap  = 600 * time.Millisecond // dark between two groups, at least; 256 ms between two flashes
	quickGap  = 120 * time.Millisecond // dark between the two flashes of a wink, at most: 32 ms
	longCode  = 8                      // what a long flash stands for
)

// Event takes a change of the light.
func (l *Lamp) Event(on bool, at time.Time) {
	if on {
		if at.Sub(l.off) > groupGap {
			l.close()
		}
		if l.code == 0 {
			l.first, l.quick = at, false
		} else if at.Sub(l.off) < quickGap {
			l.quick = true
		}
		l.on = at
		return
	}
	l.off = at
	if at.Sub(l.on) > longFlash {
		l.code += longCode
	} else {
		l.code++
	}
}

// Settle ends a group if it has been dark for long enough.
func (l *Lamp) Settle(now time.Time) {
	if l.on.Before(l.off) && now.Sub(l.off) > groupGap {
		l.close()
	}
}

func (l *Lamp) close() {
	code := l.code
	l.code = 0
	switch {
	case code == 0:
	case !l.quick:
		l.Group(code, l.first)
	case l.Wink != nil:
		l.Wink(l.first)
	}
}

// flashesOf says a code as an owner counts it.
func flashesOf(code int) string {
	switch {
	case code < longCode:
		return fmt.Sprint(code)
	case code == longCode:
		return "a long one"
	}
	return fmt.Sprintf("a long one and %d", code-longCode)
}

// FaultShown is the fault of a group's code, as in table.FaultBits, or "".
func FaultShown(code int) string {
	if code >= longCode {
		code--
	}
	if bits := table.FaultBits(); code >= 1 && code <= len(bits) {
		return bits[code-1].Name
	}
	return ""
}
