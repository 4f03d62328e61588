package main

import (
	"fmt"
	"time"

	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/compiler/report/serving"
	"mealtab/compiler/table"
	"mealtab/compiler/units"
	"mealtab/flasher"
)

// The feeder counts whole minutes, and forgets when more than these have passed (firmware-template/src/limits.c).
const (
	hourForgets = 61 * time.Minute
	dayForgets  = 24*time.Hour + time.Minute
)

// refusal says which of a feeder's reasons to serve nothing by hand applies, and until when. The feeder does not say it: its state does, looked
// at in the order in which the firmware does. amount is what was asked for, 0: the button's portion; times are shown by the clock.
func refusal(f *flasher.Feeder, t *table.Table, amount uint32, clock serving.Clock) string {
	st, err := f.Status() // after the refusal: what was counted too long ago has been forgotten
	if err != nil {
		return "why, it could not be asked: " + err.Error()
	}
	j, err := f.Journal()
	if err != nil {
		return "why, it could not be asked: " + err.Error()
	}
	if !j.Done() {
		return fmt.Sprintf("a serving of %s is not finished: mealtab status says what holds it up", units.Count(j.Pockets, "pocket"))
	}
	if t.Button.Portion == 0 {
		return "its table switches servings by hand off"
	}
	pockets := flasher.GivenFor(t, st, amount)
	until := func(from int, forgets time.Duration) string {
		passed := uint16(int(moment.Minute(st.Now)) - j.Stepped - from)
		at := st.Now.Truncate(time.Minute).Add(forgets - time.Duration(passed)*time.Minute)
		return serving.Local(clock, at).Format(serving.TimeLayout)
	}
	day := until(j.First, dayForgets)
	switch left := table.MaxAskedDay - st.Asked; {
	case left == 0:
		return fmt.Sprintf("it has given the %d pockets that are allowed by hand in 24 hours from the first; more from %s on", table.MaxAskedDay, day)
	case pockets > left:
		return fmt.Sprintf("that would be more than %d pockets by hand in 24 hours from the first (%d have been given); %s now, more from %s on", table.MaxAskedDay, st.Asked,
			units.Count(left, "pocket"), day)
	case st.DayLeft == 0:
		return fmt.Sprintf("it has given what its table allows by hand in a day (%s in 24 hours from the first); more from %s on", units.Count(t.Button.Daily(), "serving"), day)
	case st.HourLeft == 0:
		return fmt.Sprintf("it has given what its table allows by hand in an hour (%s); the next from %s on, if there is none before",
			units.Count(min(t.Button.PerHour, table.MaxPerHour), "serving"), until(j.Pressed, hourForgets))
	case pockets == 0:
		return "with what is left over from servings before, that is less than half a pocket, and the wheel turns whole ones"
	}
	return fmt.Sprintf("its supply is too low (%.2f V), until that is better", float64(st.SupplyMV)/1000)
}
