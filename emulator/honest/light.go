package honest

import (
	"fmt"
	"time"

	"mealtab/emulator/scenario"
)

// The light shows a fault by its number: 1 to 7 short flashes, or one long and then short ones from 8 on. A single wink in a
// minute is no fault; nor is what answers a button. So a fault is shown once the same group has come twice within 20 s.
const (
	repeatsIn   = 20 * time.Second
	longestDark = time.Minute // between two groups of a fault that goes on being shown
)

// light notes which faults the lamp shows.
type light struct {
	scenario.Lamp
	last   int // code of the group before
	lastAt time.Time
	spans  []shown // faults shown so far
}

// shown is a fault shown over a time.
type shown struct {
	code     int
	from, to time.Time
}

func newLight() *light {
	l := &light{}
	l.Group = l.group
	return l
}

func (l *light) group(code int, at time.Time) {
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
	if name := scenario.FaultShown(code); name != "" {
		return name
	}
	return fmt.Sprintf("code %d", code)
}
