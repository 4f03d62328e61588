package ration

import (
	"errors"
	"fmt"

	"mealtab/compiler/plan"
	"mealtab/compiler/units"
)

// CodeRation is the code of diagnostics about how much a plan feeds.
const CodeRation plan.Code = "ration"

// Household is what a plan says about the pets that eat from its feeder, and their food.
type Household struct {
	Members []Member
	Food    Food
	HasFood bool // the plan has a [food] table
	source  *plan.Source
}

// Member is one pet. Estimate is nil where a veterinarian must decide; Grams also where the food is not known.
type Member struct {
	Pet      Pet
	Estimate *Estimate
	Grams    *Grams
	pos      plan.Pos
}

// FromPlan reads the [pet] and [food] tables of a plan. Errors are values that cannot be used, at their places; a pet for
// which a veterinarian must decide is a warning. The household is nil where the plan names no pet or there are errors.
func FromPlan(p *plan.Plan) (*Household, plan.Diagnostics) {
	h := &Household{source: p.Source}
	var ds plan.Diagnostics
	fail := func(err error, keys map[string]plan.Value, pos plan.Pos) {
		d := plan.Diagnostic{Code: CodeRation, Severity: plan.Error, Source: p.Source, Pos: pos, Message: err.Error()}
		var key *KeyError
		var refusal *Refusal
		switch {
		case errors.As(err, &key):
			d.Message, d.Hint = key.Message, key.Hint
			if v, ok := keys[key.Key]; ok {
				d.Pos = v.Pos
			}
		case errors.As(err, &refusal):
			d.Severity = plan.Warning
		}
		ds = append(ds, d)
	}
	if len(p.Food) > 0 {
		food, known, err := foodOf(p.Food)
		if err != nil {
			fail(err, p.Food, firstPos(p.Food))
		}
		h.Food, h.HasFood = food, known && err == nil
	}
	for _, pet := range p.Pets {
		m, faults := h.member(pet)
		for _, err := range faults {
			fail(err, pet.Keys, pet.Pos)
		}
		h.Members = append(h.Members, m)
	}
	if len(h.Members) == 0 || ds.HasErrors() {
		return nil, ds
	}
	return h, ds
}

// member reads one pet and computes what can be.
func (h *Household) member(pet plan.Pet) (m Member, faults []error) {
	m.pos = pet.Pos
	if m.Pet, faults = readKeys(pet.Texts()); len(faults) > 0 {
		return m, faults
	}
	var err error
	if m.Estimate, err = For(m.Pet); err == nil && h.HasFood {
		m.Grams, err = m.Estimate.Of(m.Pet, h.Food, 0)
	}
	if err != nil {
		faults = append(faults, err)
	}
	return m, faults
}

// foodOf reads the keys of [food]; known is false where they say nothing of energy.
func foodOf(keys map[string]plan.Value) (f Food, known bool, err error) {
	if v, ok := keys["energy"]; ok {
		d, err := units.ParseDensity(v.Text)
		if e, ok := err.(*units.Error); ok {
			return Food{}, false, &KeyError{"energy", e.Message, e.Hint}
		}
		f, err = Labelled(d)
		return f, true, err
	}
	given := map[string]string{}
	for _, part := range parts {
		if v, ok := keys[part]; ok {
			given[part] = v.Text
		}
	}
	if len(given) == 0 {
		return Food{}, false, nil
	}
	f, err = Analysed(given)
	return f, true, err
}

func firstPos(keys map[string]plan.Value) (pos plan.Pos) {
	for _, v := range keys {
		if pos == (plan.Pos{}) || v.Pos.Line < pos.Line {
			pos = v.Pos
		}
	}
	return pos
}

// Complete reports whether the ration of every pet is known, so that the bowl's can be.
func (h *Household) Complete() bool {
	for _, m := range h.Members {
		if m.Grams == nil {
			return false
		}
	}
	return true
}

// Compare says what the equations think of so much food a day; a warning where it is outside of all of them. Not for a
// household that is not complete.
func (h *Household) Compare(given units.Milligrams) (Verdict, plan.Diagnostics) {
	var rations []*Grams
	for _, m := range h.Members {
		rations = append(rations, m.Grams)
	}
	v := Sum(given, rations...)
	if v.Good() {
		return v, nil
	}
	return v, plan.Diagnostics{{Code: CodeRation, Severity: plan.Warning, Source: h.source, Pos: h.Members[0].pos, Message: v.String(),
		Hint: fmt.Sprintf("a place to begin is %s a day; the pet's body condition and a veterinarian's word count for more", h.begin())}}
}

// begin is the middle for all pets together.
func (h *Household) begin() units.Milligrams {
	var sum units.Milligrams
	for _, m := range h.Members {
		sum += m.Grams.Begin
	}
	return sum.Round(units.Gram)
}
