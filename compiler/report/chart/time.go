package chart

import (
	"fmt"
	"time"

	"mealtab/compiler/table"
)

// nominal is what the clock on the wall shows at an instant.
func nominal(in Input, at table.Minute) table.Minute {
	return at + table.Minute(in.Zone.At(at.Unix()).Seconds/60)
}

func dayOf(nominal table.Minute) int { return int(floorDiv(int64(nominal), table.MinutesPerDay)) }

func ofDay(nominal table.Minute) int { return int(nominal) - dayOf(nominal)*table.MinutesPerDay }

func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}

func date(day int) time.Time { return time.Date(2000, 1, 1+day, 0, 0, 0, 0, time.UTC) }

func dayNumber(t time.Time) int { return int((t.Unix() - table.Epoch) / 86400) }

func dateText(day int, layout string) string { return date(day).Format(layout) }

func clock(minutes int) string { return fmt.Sprintf("%02d:%02d", minutes/60, minutes%60) }

func daysIn(month time.Time) int { return month.AddDate(0, 1, -month.Day()).Day() }
