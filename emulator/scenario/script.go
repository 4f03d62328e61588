package scenario

import (
	"bytes"
	"errors"
	"fmt"
	"strings"

	"github.com/pelletier/go-toml/v2"
)

// Script is a scenario: a table, a start, events and expectations. Times are local to the table's zone
// (2027-03-28T07:00:00), UTC (2027-03-28T07:00:00Z), or durations after the start ("90m").
type Script struct {
	Name   string   `toml:"name"`
	Plan   string   `toml:"plan"`  // of several lines: a plan; else the name of a file with a plan or table
	Board  string   `toml:"board"` // "": the table's
	Start  any      `toml:"start"`
	Run    string   `toml:"run"` // duration
	Seed   uint64   `toml:"seed"`
	Feeder Feeder   `toml:"feeder"`
	Events []Event  `toml:"event"`
	Expect []Expect `toml:"expect"`
	File   string   `toml:"-"`
}

// Feeder is the state in which the feeder starts.
type Feeder struct {
	Clock   string  `toml:"clock"` // "set" (default), "never set"
	Drift   string  `toml:"drift"` // of the clock's crystal: "20 ppm"
	Hopper  string  `toml:"hopper"`
	Supply  string  `toml:"supply"`
	Detent  *bool   `toml:"detent"`
	Index   bool    `toml:"index_switch"`
	Load    float64 `toml:"wheel_load"` // per cent
	Watch   string  `toml:"watchdog"`   // error of the watchdog's oscillator: "-10 %"
	NoTable bool    `toml:"no_table"`

	Barrier    bool   `toml:"light_barrier"`
	Oscillator string `toml:"oscillator"` // error of the AVR's: "-5 %"
	Reference  string `toml:"reference"`  // error of the AVR's: "8 %"
	Servo      string `toml:"servo_supply"`
	Limit      string `toml:"current_limit"` // of the adapter: "0.8 A"
}

// Event is something that happens to the feeder. Actions says which keys go with which Do.
type Event struct {
	At      any     `toml:"at"`
	Do      string  `toml:"do"`
	Button  string  `toml:"button"`
	For     string  `toml:"for"`
	Times   int     `toml:"times"` // how often, each Every after the last
	Every   string  `toml:"every"`
	Volts   float64 `toml:"volts"`
	Ohms    float64 `toml:"ohms"`
	Pockets float64 `toml:"pockets"`
	Percent float64 `toml:"percent"`
	PPM     float64 `toml:"ppm"`
	Celsius float64 `toml:"celsius"`
	Grams   float64 `toml:"grams"`
	Clocks  int     `toml:"clocks"`
	Number  int     `toml:"number"` // of a preset, as the light shows it: from 1
	Plan    string  `toml:"plan"`
	To      any     `toml:"to"`

	By        string  `toml:"by"` // "-3h"
	Amps      float64 `toml:"amps"`
	After     string  `toml:"after"`
	Off       string  `toml:"off"`
	PerVolt   float64 `toml:"per_volt"`   // %/V
	PerDegree float64 `toml:"per_degree"` // %/K
	Micros    float64 `toml:"micros"`
}

// Expect is what must hold. Every key that is given is checked, over From to To (default: the whole run) or at At
// (default: the end).
type Expect struct {
	At   any `toml:"at"`
	From any `toml:"from"`
	To   any `toml:"to"`

	Servings string   `toml:"servings"` // "all": those of the table, less Except, and no others
	Except   []any    `toml:"except"`   // their times
	Within   string   `toml:"within"`   // how late each may be; default "1m"
	Off      int      `toml:"pockets_off"`
	Served   []Served `toml:"served"` // exactly these, instead of Servings
	Pockets  []int    `toml:"pockets"`
	Manual   *int     `toml:"manual"`
	History  []string `toml:"history"`
	Never    []string `toml:"never"` // in the history
	Faults   []string `toml:"faults"`
	Light    string   `toml:"light"` // "dark", or the fault it shows
	Servo    string   `toml:"servo"` // "off"
	Resets   *int     `toml:"resets"`
	Table    string   `toml:"table"`   // "valid"
	Settled  any      `toml:"settled"` // the journal's cursor
	Preset   *int     `toml:"preset"`  // number of the preset in force, from 1
	Grams    []int    `toml:"grams"`   // that fell
}

// Served is one serving by its minute.
type Served struct {
	At      any `toml:"at"`
	Pockets int `toml:"pockets"`
}

// Parse reads a script. The error names file, line and column, or the event or expectation that is wrong.
func Parse(file string, src []byte) (*Script, error) {
	s := &Script{}
	d := toml.NewDecoder(bytes.NewReader(src))
	d.DisallowUnknownFields()
	if err := d.Decode(s); err != nil {
		return nil, tomlError(file, err)
	}
	s.File = file
	if err := s.check(); err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	return s, nil
}

func tomlError(file string, err error) error {
	var strict *toml.StrictMissingError
	if errors.As(err, &strict) && len(strict.Errors) > 0 {
		e := strict.Errors[0]
		row, column := e.Position()
		return fmt.Errorf("%s:%d:%d: no scenario has the key %q", file, row, column, strings.Join(e.Key(), "."))
	}
	var at *toml.DecodeError
	if errors.As(err, &at) {
		row, column := at.Position()
		return fmt.Errorf("%s:%d:%d: %s", file, row, column, strings.TrimPrefix(at.Error(), "toml: "))
	}
	return fmt.Errorf("%s: %w", file, err)
}

func (s *Script) check() error {
	switch {
	case s.Name == "":
		return errors.New(`the scenario has no name = "…"`)
	case s.Plan == "":
		return errors.New(`the scenario has no plan = "…" (a file, or the text of a plan between ''')`)
	case s.Start == nil:
		return errors.New("the scenario has no start, such as 2027-03-27T20:00:00")
	case s.Run == "":
		return errors.New(`the scenario has no run = "36h"`)
	case len(s.Expect) == 0:
		return errors.New("the scenario expects nothing: add [[expect]]")
	}
	for i, e := range s.Events {
		if _, ok := actions[e.Do]; !ok {
			return fmt.Errorf("event %d: %q cannot be done; there are %s", i+1, e.Do, actionNames())
		}
		if e.At == nil {
			return fmt.Errorf("event %d (%s) has no time: add at", i+1, e.Do)
		}
		if err := e.inBounds(); err != nil {
			return fmt.Errorf("event %d (%s): %w", i+1, e.Do, err)
		}
	}
	return nil
}
