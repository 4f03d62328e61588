package preview

import (
	"fmt"
	"time"

	"mealtab/compiler/units"
	"mealtab/flasher"
)

// Apart is "12 ms ahead of this computer's".
func Apart(d time.Duration) string {
	d = d.Round(time.Millisecond)
	switch {
	case d < 0:
		return units.Span(d) + " behind this computer's"
	case d > 0:
		return units.Span(d) + " ahead of this computer's"
	}
	return "agrees with this computer's to the millisecond"
}

// Clocks compares the clocks, with what they show where they are far apart.
func Clocks(c flasher.ClockState) string {
	switch c.Need() {
	case flasher.ClockSilent:
		return flasher.ErrNoClock.Error()
	case flasher.ClockDistrusted:
		return c.Distrusted.Error() + "; the feeder's clock is left as it is"
	case flasher.ClockStopped:
		return "the feeder's has stood still, and its time means nothing"
	case flasher.ClockLarge:
		const shown = "2006-01-02 15:04 UTC"
		return fmt.Sprintf("the feeder's is %s: it shows %s, the computer %s", Apart(c.Offset), c.At.Add(c.Offset).UTC().Format(shown), c.At.UTC().Format(shown))
	}
	if c.Offset.Round(time.Millisecond) == 0 {
		return "the feeder's " + Apart(c.Offset)
	}
	return "the feeder's is " + Apart(c.Offset)
}

// ClockNeed compares the clocks and says what will come of it, before anything is written.
func ClockNeed(c flasher.ClockState) string {
	switch c.Need() {
	case flasher.ClockSmall, flasher.ClockStopped:
		return Clocks(c) + ": it will be set"
	case flasher.ClockLarge:
		return Clocks(c) + ". Either may be the wrong one"
	}
	return Clocks(c)
}
