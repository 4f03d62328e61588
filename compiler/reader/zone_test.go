package reader_test

import (
	"fmt"
	"time"

	"mealtab/compiler/reader"
	"mealtab/compiler/zone"
)

// checkZone knows the names of the embedded data. Its words are its own, so that expected diagnostics do not change
// with the data's release.
func checkZone(name string) error {
	if _, err := zone.Embedded().Load(name); err != nil {
		return fmt.Errorf("there is no time zone %q", name)
	}
	return nil
}

// checked are the options with which the program reads plans, but for the words about zones.
var checked = func() reader.Options {
	o := reader.With(zone.Embedded())
	o.CheckZone = checkZone
	return o
}()

// writing are the options with which the program writes calendars.
var writing = reader.Writing(zone.Embedded(), time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC))

var convert = checked.Convert
