package ration

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"mealtab/compiler/units"
)

// KeyError is a value that cannot be used. Key names it as plans and flags do.
type KeyError struct {
	Key     string
	Message string
	Hint    string // may be empty
}

func (e *KeyError) Error() string {
	if e.Hint == "" {
		return e.Message
	}
	return e.Message + ": " + e.Hint
}

func keyErrorf(key, hint, format string, args ...any) *KeyError {
	return &KeyError{key, fmt.Sprintf(format, args...), hint}
}

// Keys are what describes a pet, in a plan's [pet] section and as flags of the ration command.
var Keys = []string{"name", "species", "weight", "ideal", "condition", "age", "neutered", "activity", "adult", "breed", "state", "lose", "extras"}

// FromKeys reads a pet from the text of its keys. The error is a *[KeyError].
func FromKeys(given map[string]string) (Pet, error) {
	p, faults := readKeys(given)
	if len(faults) > 0 {
		return Pet{}, faults[0]
	}
	return p, nil
}

// readKeys reads all keys, and finds all faults, in the order of Keys.
func readKeys(given map[string]string) (p Pet, faults []error) {
	for _, key := range Keys {
		if text, ok := given[key]; ok {
			if err := p.set(key, strings.TrimSpace(text)); err != nil {
				faults = append(faults, err)
			}
		}
	}
	for key := range given {
		if !slices.Contains(Keys, key) {
			faults = append(faults, keyErrorf(key, "there are "+strings.Join(Keys, ", "), "%s does not describe a pet", key))
		}
	}
	return p, faults
}

func (p *Pet) set(key, text string) (err error) {
	switch key {
	case "name":
		p.Name = text
	case "species":
		p.Species, err = word(key, text, Cat, Dog)
	case "activity":
		p.Activity, err = word(key, text, Low, Moderate, High)
	case "state":
		p.State, err = word(key, text, Well, Ill, Diabetic, Pregnant, Nursing, LosingWeight)
	case "breed":
		p.Breed, err = word(key, text, Breeds...)
	case "weight":
		p.Weight, p.Pounds, err = units.ParseMassAs(text)
	case "ideal":
		p.Ideal, err = units.ParseMass(text)
	case "adult":
		p.AdultWeight, err = units.ParseMass(text)
	case "extras":
		if p.Extras, err = units.ParseEnergy(text); err == nil && p.Extras < 0 {
			err = keyErrorf(key, "", "%q is below zero", text)
		}
	case "age":
		p.AgeDays, err = parseAge(text)
	case "condition":
		p.Condition, err = parseCondition(text)
	case "neutered":
		var neutered bool
		neutered, err = truth(key, text)
		p.Intact = !neutered
	case "lose":
		p.Lose, err = truth(key, text)
	}
	if e, ok := err.(*units.Error); ok {
		return &KeyError{key, e.Message, e.Hint}
	}
	return err
}

func truth(key, text string) (bool, error) {
	b, err := word(key, text, "true", "false")
	return b == "true", err
}

// word is one of a few.
func word[T ~string](key, text string, known ...T) (T, error) {
	lower := T(strings.ToLower(text))
	if slices.Contains(known, lower) {
		return lower, nil
	}
	var list []string
	for _, k := range known {
		list = append(list, string(k))
	}
	return "", keyErrorf(key, strings.Join(list, ", "), "%q is not known", text)
}

// parseCondition reads "5" or "5/9". The five-point scale is refused: 3 would be ideal there and thin here.
func parseCondition(text string) (int, error) {
	score, scale, cut := strings.Cut(text, "/")
	n, err := strconv.Atoi(strings.TrimSpace(score))
	switch {
	case cut && strings.TrimSpace(scale) == "5":
		return 0, keyErrorf("condition", "on the nine-point scale 5 is ideal: double the score and subtract 1", "%q is on the five-point scale", text)
	case err != nil || cut && strings.TrimSpace(scale) != "9":
		return 0, keyErrorf("condition", "a whole number from 1 (far too thin) over 5 (ideal) to 9 (obese)", "%q is not a body condition score", text)
	case n < 1 || n > 9:
		return 0, keyErrorf("condition", "from 1 (far too thin) over 5 (ideal) to 9 (obese)", "%q is outside 1 to 9", text)
	}
	return n, nil
}

// ageUnits in days.
var ageUnits = map[string]float64{
	"w": week, "wk": week, "week": week, "weeks": week,
	"mo": month, "month": month, "months": month,
	"y": year, "yr": year, "year": year, "years": year,
}

// parseAge reads "3 y", "10 months", "14 weeks", in days.
func parseAge(text string) (int, error) {
	at := strings.IndexFunc(text, func(r rune) bool { return (r < '0' || r > '9') && r != '.' })
	const hint = `write for example "3 y", "10 months" or "14 weeks"`
	if at <= 0 {
		return 0, keyErrorf("age", hint, "%q is not a number with a unit", text)
	}
	n, err := strconv.ParseFloat(text[:at], 64)
	per, known := ageUnits[strings.ToLower(strings.TrimSpace(text[at:]))]
	switch {
	case err != nil || !known:
		return 0, keyErrorf("age", hint, "%q is not an age", text)
	case n*per < 1 || n*per > 40*year:
		return 0, keyErrorf("age", "", "%q is not an age of a cat or dog", text)
	}
	return int(n*per + 0.5), nil
}
