package scenario

import (
	"fmt"
	"slices"
	"strings"
)

// action is one thing that a script can do to the feeder.
type action struct {
	keys string // that go with it
	do   func(*run, *Event) error
}

// actions are in the words of a script.
var actions map[string]action

func init() { // not a composite literal: upload refers to it
	actions = map[string]action{
		"power off":        {"", func(r *run, _ *Event) error { r.b.PowerOff(); return nil }},
		"power on":         {"", func(r *run, _ *Event) error { r.b.PowerOn(); return nil }},
		"supply":           {"volts, ohms", setSupply},
		"reset":            {"", func(r *run, _ *Event) error { r.b.Reset(); return nil }},
		"press":            {"button, for, times, every", press},
		"release":          {"button", release},
		"jam":              {"pockets", func(r *run, e *Event) error { r.b.Jam(e.Pockets, true); return nil }},
		"solid jam":        {"pockets", func(r *run, e *Event) error { r.b.Jam(e.Pockets, false); return nil }},
		"unjam":            {"", func(r *run, _ *Event) error { r.b.Unjam(); return nil }},
		"wheel load":       {"percent", func(r *run, e *Event) error { r.b.SetWheelLoad(e.Percent / 100); return nil }},
		"hopper":           {"grams", func(r *run, e *Event) error { r.b.Refill(e.Grams * 1000); return nil }},
		"cut INT":          {"", func(r *run, _ *Event) error { r.b.CutInt(true); return nil }},
		"mend INT":         {"", func(r *run, _ *Event) error { r.b.CutInt(false); return nil }},
		"silence clock":    {"", func(r *run, _ *Event) error { r.b.Silence(true); return nil }},
		"clock answers":    {"", func(r *run, _ *Event) error { r.b.Silence(false); return nil }},
		"stop crystal":     {"", func(r *run, _ *Event) error { r.b.StopCrystal(true); return nil }},
		"start crystal":    {"", func(r *run, _ *Event) error { r.b.StopCrystal(false); return nil }},
		"backup flat":      {"", func(r *run, _ *Event) error { r.b.SetBackup(false); return nil }},
		"backup good":      {"", func(r *run, _ *Event) error { r.b.SetBackup(true); return nil }},
		"drift":            {"ppm", func(r *run, e *Event) error { r.b.SetClockDrift(int64(e.PPM * 1000)); return nil }},
		"temperature":      {"celsius", func(r *run, e *Event) error { r.b.SetTemperature(int16(e.Celsius * 4)); return nil }},
		"hold SDA":         {"clocks", func(r *run, e *Event) error { r.b.HoldSDA(true, e.Clocks); return nil }},
		"free SDA":         {"", func(r *run, _ *Event) error { r.b.HoldSDA(false, 0); return nil }},
		"memory gone":      {"", func(r *run, _ *Event) error { r.b.RemoveMemory(true); return nil }},
		"set clock":        {"to", setClock},
		"set over line":    {"to", setClockOverLine},
		"preset over line": {"number", presetOverLine},
		"upload":           {"plan", uploadTable},
		"nothing happens":  {"", func(*run, *Event) error { return nil }},
	}
}

func actionNames() string {
	var names []string
	for name := range actions {
		names = append(names, name)
	}
	slices.Sort(names)
	return strings.Join(names, ", ")
}

func setSupply(r *run, e *Event) error {
	ohms := -1.0
	if e.Ohms > 0 {
		ohms = e.Ohms * 1000
	}
	r.b.SetSource(uint16(e.Volts*1000), ohms)
	return nil
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
