package honest

import (
	"fmt"
	"time"

	"mealtab/compiler/table"
)

// The light shows a fault by its number: 1 to 7 short flashes, or one long and then short ones from 8 on. A single wink in a
// minute is no fault; nor is what answers a button. So a fault is shown once the same group has come twice within 20 s.
const (
	longFlash   = 300 * time.Millisecond
	groupGap    = 650 * time.Millisecond // dark between two groups, at least
	repeatsIn   = 20 * time.Second
	longestDark = time.Minute // between two groups of a fault that goes on being shown
	longCode    = 8
)

// light reads the flashes.
type light struct {
	on, off time.Time // of the last flash
	code    int       // of the group under way
	last    int       // code of the group before
	lastAt  time.Time
	spans   []shown // faults shown so far
}

// shown is a fault shown over a time.
type shown struct {
	code     int
	from, to time.Time
}

func (l *light) event(on bool, at time.Time) {
	if on {
		if at.Sub(l.off) > groupGap {
			l.close()
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

// close ends a group.
func (l *light) close() {
	code, at := l.code, l.on
	l.code = 0
	if code == 0 {
		return
	}
	if code == l.last && at.Sub(l.lastAt) <= repeatsIn {
		if n := len(l.spans); n > 0 && l.spans[n-1].code == code && at.Sub(l.spans[n-1].to) <= longestDark {
			l.spans[n-1].to = at
		} else {
			l.spans = append(l.spans, shown{code, l.lastAt, at})
		}
	}
	l.last, l.lastAt = code, at
}

// now is the code shown at an instant, or 0.
func (l *light) now(at time.Time) int {
	if n := len(l.spans); n > 0 && at.Sub(l.spans[n-1].to) <= longestDark {
		return l.spans[n-1].code
	}
	return 0
}

// since is when the first fault was shown that was still shown at or after an instant; ok is false if none was.
func (l *light) since(at time.Time) (s shown, ok bool) {
	for _, s := range l.spans {
		if !s.to.Before(at) {
			return s, true
		}
	}
	return shown{}, false
}

// faultName is the fault of a code of the light.
func faultName(code int) string {
	bits := table.FaultBits()
	if code >= longCode { // one long flash stands for the first seven
		code--
	}
	if code < 1 || code > len(bits) {
		return fmt.Sprintf("code %d", code)
	}
	return bits[code-1].Name
}
