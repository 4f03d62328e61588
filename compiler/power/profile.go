package power

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"mealtab/compiler/profile"
	"mealtab/compiler/units"
)

// Profile is what draws current on a board, and from what.
type Profile struct {
	Board string
	Pack  Pack
	Boost Boost
	Draws []Draw
}

// Pack is a set of cells in series. Triples are poor, usual, good.
type Pack struct {
	Cells         int
	Kind          string
	Mean          units.Millivolts // of the whole pack, over its life
	Capacity      [3]units.MilliampHours
	SelfDischarge float64    // share a year
	Shelf         [3]float64 // years
	Source        string
}

// Boost is the converter that feeds the servo; it is off between servings.
type Boost struct {
	Out        units.Millivolts
	Efficiency [3]float64
	Source     string
}

// Draw is one current.
type Draw struct {
	Name    string // short, one line
	Part    string // word by which it can be left out; empty: it cannot
	When    When
	Current units.Milliamps
	Source  string
	Fitted  bool
	Cut     string          // what a builder can do about it; empty: nothing
	Left    units.Milliamps // what flows then
}

// Boards lists the embedded boards whose currents are known, sorted.
func Boards() (names []string) {
	for _, p := range profile.Boards() {
		if p.HasCurrents() {
			names = append(names, p.Name)
		}
	}
	slices.Sort(names)
	return names
}

// Of reads the currents of a board.
func Of(board *profile.Profile) (*Profile, error) {
	if !board.HasCurrents() {
		return nil, fmt.Errorf("the currents of board %q are not known: it says nothing of [pack], [boost] and [[draw]], as %s does; or give a file of currents", board.Name, strings.Join(Boards(), ", "))
	}
	f := file{board.Name, board.Currents}
	p, err := f.profile()
	if err != nil {
		return nil, fmt.Errorf("board %s: %w", board.Name, err)
	}
	return p, nil
}

// file is a file of currents.
type file struct {
	Board string
	profile.Currents
}

// Parse reads a profile; name is for messages. Every current needs a source.
func Parse(name string, src []byte) (*Profile, error) {
	var f file
	if err := profile.Decode(name, "a file of currents", src, &f); err != nil {
		return nil, err
	}
	p, err := f.profile()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return p, nil
}

func (f *file) profile() (*Profile, error) {
	p := &Profile{Board: f.Board, Pack: Pack{Cells: f.Pack.Cells, Kind: f.Pack.Kind, SelfDischarge: f.Pack.SelfDischarge, Source: f.Pack.Source}}
	var err error
	if p.Pack.Mean, err = units.ParseVoltage(f.Pack.Mean); err != nil {
		return nil, fmt.Errorf("pack.mean: %w", err)
	}
	if len(f.Pack.Capacity) != 3 || len(f.Pack.ShelfYears) != 3 || len(f.Boost.Efficiency) != 3 {
		return nil, errors.New("pack.capacity, pack.shelf_years and boost.efficiency have three values each: poor, usual, good")
	}
	for i, c := range f.Pack.Capacity {
		if p.Pack.Capacity[i], err = units.ParseCharge(c); err != nil {
			return nil, fmt.Errorf("pack.capacity: %w", err)
		}
	}
	p.Pack.Shelf, p.Boost.Efficiency = [3]float64(f.Pack.ShelfYears), [3]float64(f.Boost.Efficiency)
	if p.Boost.Out, err = units.ParseVoltage(f.Boost.Out); err != nil {
		return nil, fmt.Errorf("boost.out: %w", err)
	}
	p.Boost.Source = f.Boost.Source
	for _, d := range f.Draw {
		draw := Draw{Name: d.Name, Part: d.Part, When: When(d.When), Source: d.Source, Cut: d.Cut, Fitted: d.Fitted == nil || *d.Fitted}
		if draw.Current, err = units.ParseCurrent(d.Current); err != nil {
			return nil, fmt.Errorf("draw %q: current: %w", d.Name, err)
		}
		if d.Left != "" {
			if draw.Left, err = units.ParseCurrent(d.Left); err != nil {
				return nil, fmt.Errorf("draw %q: left: %w", d.Name, err)
			}
		}
		p.Draws = append(p.Draws, draw)
	}
	return p, p.check()
}

var whens = []When{Always, Asleep, Awake, Idle, Turning, Standing, Writing, Paging, Talking}

// check refuses figures that no feeder has.
func (p *Profile) check() error {
	for i := range 3 {
		switch {
		case !(p.Pack.Capacity[i] > 0 && p.Pack.Capacity[i] <= 1e6):
			return fmt.Errorf("pack.capacity: %s is not a capacity of cells", p.Pack.Capacity[i])
		case !(p.Boost.Efficiency[i] > 0 && p.Boost.Efficiency[i] <= 1):
			return fmt.Errorf("boost.efficiency: %g is outside 0 to 1", p.Boost.Efficiency[i])
		case !(p.Pack.Shelf[i] > 0):
			return errors.New("pack.shelf_years: they are above zero")
		}
	}
	switch {
	case !(p.Pack.SelfDischarge >= 0 && p.Pack.SelfDischarge < 1):
		return fmt.Errorf("pack.self_discharge: %g is outside 0 to 1 a year", p.Pack.SelfDischarge)
	case p.Pack.Mean <= 0 || p.Boost.Out <= 0:
		return errors.New("voltages are above zero")
	case p.Pack.Source == "" || p.Boost.Source == "":
		return errors.New("pack and boost name their source")
	}
	for _, d := range p.Draws {
		switch {
		case d.Name == "":
			return errors.New("a draw has no name")
		case !slices.Contains(whens, d.When):
			return fmt.Errorf("draw %q: when %q does not exist", d.Name, d.When)
		case d.Source == "":
			return fmt.Errorf("draw %q: its source is missing; write where the figure comes from, or \"a guess\"", d.Name)
		case math.IsNaN(float64(d.Current)) || d.Current < 0 || d.Current > 10_000 || d.Left < 0 || d.Left > d.Current:
			return fmt.Errorf("draw %q: %s, and %s after the cut, cannot be", d.Name, d.Current, d.Left)
		}
	}
	return nil
}

// Without leaves parts out, by their words.
func (p *Profile) Without(names []string) (*Profile, error) {
	q := *p
	q.Draws = slices.Clone(p.Draws)
	for _, name := range names {
		found := false
		for i := range q.Draws {
			if d := &q.Draws[i]; d.Part != "" && d.Part == name {
				found = true
				d.Current, d.Cut = d.Left, ""
				d.Fitted = d.Current > 0
			}
		}
		if !found {
			return nil, fmt.Errorf("no part is called %q; there are %s", name, strings.Join(p.parts(), ", "))
		}
	}
	return &q, nil
}

func (p *Profile) parts() (list []string) {
	for _, d := range p.Draws {
		if d.Part != "" {
			list = append(list, d.Part)
		}
	}
	return list
}
