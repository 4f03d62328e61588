package plan_test

import (
	"fmt"
	"time"

	"mealtab/compiler/plan"
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

// convert is what the program passes to the parser.

func convert(name string, l plan.Local, from, to plan.Form) (plan.Local, error) {
	z, err := zone.Embedded().Load(name)
	if err != nil {
		return plan.Local{}, err
	}
	unix := time.Date(l.Year, time.Month(l.Month), l.Day, l.Hour, l.Minute, l.Second, 0, time.UTC).Unix()
	if from == plan.Zoned {
		unix, _ = z.Resolve(unix)
	}
	if to == plan.Zoned {
		unix += int64(z.At(unix).Seconds)
	}
	t := time.Unix(unix, 0).UTC()
	return plan.Local{Year: t.Year(), Month: int(t.Month()), Day: t.Day(), Hour: t.Hour(), Minute: t.Minute(), Second: t.Second()}, nil
}
