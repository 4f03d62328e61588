package history

import (
	"bytes"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/table"
)

// Settings of a clock that follow each other are one line of text; servings never are.
func TestText(t *testing.T) {
	at := func(minute int, event int, value uint16) Entry {
		e := Entry{Time: time.Date(2026, 11, 25, 13, minute, 0, 0, time.UTC), Text: Event(table.History{Event: event, Value: value}), Event: "manual"}
		if event == table.EventClockSet {
			e.Event = "clock set"
		}
		return e
	}
	var out bytes.Buffer
	require.NoError(t, Write(&out, []Entry{
		at(0, table.EventStarted, 0), at(1, table.EventClockSet, 3), at(1, table.EventClockSet, 0), at(2, table.EventClockSet, 0), at(5, table.EventClockSet, 0),
		at(6, table.EventManual, 1), at(6, table.EventManual, 1),
	}, "text"))
	require.Equal(t, `Wed 2026-11-25 13:00 UTC    started after a reset by way of the bootloader
Wed 2026-11-25 13:01 UTC    the clock was set by +3 s
Wed 2026-11-25 13:01 UTC    the clock was set, by less than a second (2 times)
Wed 2026-11-25 13:05 UTC    the clock was set, by less than a second
Wed 2026-11-25 13:06 UTC    served by hand, 1 pocket
Wed 2026-11-25 13:06 UTC    served by hand, 1 pocket
`, out.String())
}
