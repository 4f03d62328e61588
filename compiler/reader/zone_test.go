package reader_test

import (
	"fmt"

	"mealtab/compiler/ical/calendar"
	"mealtab/compiler/reader"
	"mealtab/compiler/zone"
)

// plainly is a database whose words about names are its own, so that expected diagnostics do not change with the data's release.
type plainly struct{ calendar.Zones }

func (plainly) Check(name string) error {
	if _, err := zone.Embedded().Load(name); err != nil {
		return fmt.Errorf("there is no time zone %q", name)
	}
	return nil
}

// checked are the options with which the program reads plans, but for the words about zones.
var checked = func() reader.Options {
	o := reader.With(zone.Embedded())
	o.Zones = plainly{o.Zones}
	return o
}()
