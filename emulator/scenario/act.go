package scenario

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"mealtab/emulator/board"
)

// action is one thing that a script can do to the feeder.
type action struct {
	keys   string // that go with it
	bounds []bound
	do     func(*run, *Event) error
}

// plain is an action without keys.
func plain(f func(b *board.Board)) action {
	return action{do: func(r *run, _ *Event) error { f(r.b); return nil }}
}

// actions are in the words of a script.
var actions map[string]action

func init() { // not a composite literal: upload refers to it
	actions = map[string]action{
		"power off":        plain((*board.Board).PowerOff),
		"power on":         plain((*board.Board).PowerOn),
		"reset":            plain((*board.Board).Reset),
		"press":            {"button, for", nil, press},
		"release":          {"button", nil, release},
		"cut INT":          plain(func(b *board.Board) { b.CutInt(true) }),
		"mend INT":         plain(func(b *board.Board) { b.CutInt(false) }),
		"silence clock":    plain(func(b *board.Board) { b.Silence(true) }),
		"clock answers":    plain(func(b *board.Board) { b.Silence(false) }),
		"stop crystal":     plain(func(b *board.Board) { b.StopCrystal(true) }),
		"start crystal":    plain(func(b *board.Board) { b.StopCrystal(false) }),
		"backup flat":      plain(func(b *board.Board) { b.SetBackup(false) }),
		"backup good":      plain(func(b *board.Board) { b.SetBackup(true) }),
		"drift":            {"ppm", []bound{{"ppm", "ppm", -1e5, 1e5}}, func(r *run, e *Event) error { r.b.SetClockDrift(int64(e.PPM * 1000)); return nil }},
		"temperature":      {"celsius", []bound{{"celsius", "°C", -55, 125}}, func(r *run, e *Event) error { r.b.SetTemperature(int16(e.Celsius * 4)); return nil }},
		"hold SDA":         {"clocks", []bound{{"clocks", "clocks of SCL", 0, 9}}, func(r *run, e *Event) error { r.b.HoldSDA(true, e.Clocks); return nil }},
		"free SDA":         plain(func(b *board.Board) { b.HoldSDA(false, 0) }),
		"memory gone":      plain(func(b *board.Board) { b.RemoveMemory(true) }),
		"set clock":        {"to", nil, setClock},
		"step clock":       {"by", nil, stepClock},
		"set over line":    {"to, by", nil, setClockOverLine},
		"preset over line": {"number", nil, presetOverLine},
		"upload":           {"plan", nil, uploadTable},
		"nothing happens":  plain(func(*board.Board) {}),
	}
	maps.Copy(actions, supplyActions)
	maps.Copy(actions, wheelActions)
}

func actionNames() string {
	var names []string
	for name := range actions {
		names = append(names, name)
	}
	slices.Sort(names)
	return strings.Join(names, ", ")
}

func button(name string) (int, error) {
	i := slices.Index(buttonNames[:], name)
	if i < 0 {
		return 0, fmt.Errorf("no button is called %q; there are %s", name, strings.Join(buttonNames[:], ", "))
	}
	return i, nil
}

func press(r *run, e *Event) error {
	n, err := button(e.Button)
	if err != nil {
		return err
	}
	if e.For == "" {
		r.b.Press(n, 0)
		return nil
	}
	d, err := duration(e.For)
	if err != nil {
		return err
	}
	r.b.Press(n, d)
	return nil
}

func release(r *run, e *Event) error {
	n, err := button(e.Button)
	if err != nil {
		return err
	}
	r.b.Release(n)
	return nil
}

func setClock(r *run, e *Event) error {
	to := r.b.Now()
	if e.To != nil {
		var err error
		if to, err = moment(e.To, r.start, r.log.local); err != nil {
			return err
		}
	}
	r.b.SetClock(to)
	return nil
}

// stepClock moves the chip's time by an amount, from what it says.
func stepClock(r *run, e *Event) error {
	by, err := clockStep(e.By)
	if err != nil {
		return err
	}
	to := r.b.ClockTime().Add(by)
	if err := inCalendar(to); err != nil {
		return err
	}
	r.b.SetClock(to)
	return nil
}

// inCalendar: the chip knows the years 2000 to 2099.
func inCalendar(t time.Time) error {
	if y := t.UTC().Year(); y < 2000 || y > 2099 {
		return fmt.Errorf("the clock would say %s; its calendar is 2000 to 2099", t.UTC().Format(stampLayout))
	}
	return nil
}
