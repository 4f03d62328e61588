package calibrate

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"mealtab/compiler/units"
)

// Bounds of a weighing, beyond which a column or a unit was mistaken.
const (
	maxPockets   = 1000
	maxWeighings = 1000
)

// ParseWeighing reads the mass that pockets gave together; a bare number is in grams, as a kitchen scale shows it.
func ParseWeighing(pockets int, text string) (Weighing, error) {
	text = strings.TrimSpace(text)
	if strings.Trim(text, "0123456789.,") == "" {
		text += " g"
	}
	mass, err := units.ParseMass(text)
	if err != nil {
		return Weighing{}, err
	}
	if pockets < 1 || pockets > maxPockets {
		return Weighing{}, fmt.Errorf("%d pockets are outside 1 to %d", pockets, maxPockets)
	}
	return Weighing{Pockets: pockets, Mass: mass, Step: lastDigit(text)}, nil
}

// lastDigit is the mass of the last digit written: 100 mg in "62.1 g".
func lastDigit(text string) units.Milligrams {
	number := strings.TrimRight(strings.TrimRight(text, "abcdefghijklmnopqrstuvwxyz"), " ")
	unit := strings.TrimSpace(text[len(number):])
	digit := "1"
	if _, decimals, ok := strings.Cut(number, "."); ok {
		digit = "0." + strings.Repeat("0", len(decimals)-1) + "1"
	}
	step, err := units.ParseMass(digit + " " + unit)
	if err != nil {
		return 0 // finer than a milligram
	}
	return step
}

// ParseList reads masses separated by commas, semicolons or spaces, "62.1, 61.8, 63.0" or "62.1 g, 61.8 g", each of so
// many pockets.
func ParseList(pockets int, text string) (list []Weighing, err error) {
	for _, item := range listItems(text) {
		w, err := ParseWeighing(pockets, item)
		if err != nil {
			return nil, err
		}
		list = append(list, w)
	}
	if len(list) == 0 {
		return nil, errors.New(`no weighing is given: write for example "62.1 g, 61.8 g, 63.0 g"`)
	}
	return list, nil
}

// listItems splits at separators, and at spaces where these do not stand before a unit.
func listItems(text string) (items []string) {
	for _, part := range strings.FieldsFunc(text, func(r rune) bool { return r == ',' || r == ';' || r == '\n' }) {
		for _, word := range strings.Fields(part) {
			if len(items) > 0 && strings.Trim(word, "0123456789.") == word && word[0] > '9' && !strings.HasSuffix(items[len(items)-1], " ") {
				items[len(items)-1] += " " + word
				continue
			}
			items = append(items, word)
		}
	}
	return items
}

// columns of a CSV file: names that are understood, in lower case.
var columns = map[string]string{
	"pockets": "pockets", "pocket": "pockets", "n": "pockets", "count": "pockets",
	"grams": "grams", "g": "grams", "mass": "grams", "weight": "grams", "weight (g)": "grams", "mass (g)": "grams",
	"ms": "ms", "time": "ms", "time (ms)": "ms", "milliseconds": "ms",
}

// ReadCSV reads columns pockets, grams and, if there is one, ms: in this order, or as a heading says. A file with
// semicolons may have decimal commas, as spreadsheets write them in half of the world. Errors name line and column.
func ReadCSV(name string, src []byte) (list []Weighing, err error) {
	src = bytes.TrimPrefix(src, []byte("\xEF\xBB\xBF"))
	first, _, _ := bytes.Cut(src, []byte("\n"))
	r := csv.NewReader(bytes.NewReader(src))
	r.TrimLeadingSpace, r.Comment, r.FieldsPerRecord = true, '#', -1
	semicolons := bytes.IndexByte(first, ';') >= 0
	if semicolons {
		r.Comma = ';'
	}
	order := []string{"pockets", "grams", "ms"}
	for row := 0; ; row++ {
		fields, err := r.Read()
		var bad *csv.ParseError
		switch {
		case err == io.EOF && len(list) == 0:
			return nil, fmt.Errorf("%s: there are no weighings in it", name)
		case err == io.EOF:
			return list, nil
		case errors.As(err, &bad):
			return nil, fmt.Errorf("%s:%d:%d: %w", name, bad.Line, bad.Column, bad.Err)
		case err != nil:
			return nil, err
		}
		c := csvRow{name: name, r: r, fields: fields, decimalComma: semicolons}
		if row == 0 && strings.ContainsFunc(fields[0], isLetter) {
			if order, err = c.heading(); err != nil {
				return nil, err
			}
			continue
		}
		w, err := c.weighing(order)
		if err != nil {
			return nil, err
		}
		if list = append(list, w); len(list) > maxWeighings {
			return nil, fmt.Errorf("%s has more than %d weighings", name, maxWeighings)
		}
	}
}

func isLetter(r rune) bool { return r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' }

type csvRow struct {
	name         string
	r            *csv.Reader
	fields       []string
	decimalComma bool
}

func (c csvRow) errorf(field int, format string, args ...any) error {
	line, column := c.r.FieldPos(min(field, len(c.fields)-1))
	return fmt.Errorf("%s:%d:%d: %s", c.name, line, column, fmt.Sprintf(format, args...))
}

func (c csvRow) heading() (order []string, err error) {
	seen := map[string]bool{}
	for i, f := range c.fields {
		column := columns[strings.ToLower(strings.TrimSpace(f))]
		if column != "" && seen[column] {
			return nil, c.errorf(i, "there are two columns %s", column)
		}
		seen[column] = true
		order = append(order, column)
	}
	if !seen["pockets"] || !seen["grams"] {
		return nil, c.errorf(0, "the columns must be pockets and grams, and may be ms")
	}
	return order, nil
}

func (c csvRow) weighing(order []string) (w Weighing, err error) {
	var ms units.Milliseconds
	for i, f := range c.fields {
		f = strings.TrimSpace(f)
		if c.decimalComma {
			f = strings.Replace(f, ",", ".", 1)
		}
		if i >= len(order) {
			return w, c.errorf(i, "there is a field too many")
		}
		switch order[i] {
		case "pockets":
			if w.Pockets, err = strconv.Atoi(f); err != nil || w.Pockets < 1 || w.Pockets > maxPockets {
				return w, c.errorf(i, "%q is not a number of pockets from 1 to %d", f, maxPockets)
			}
		case "grams":
			mass, err := ParseWeighing(1, f)
			if err != nil {
				return w, c.errorf(i, "%v", err)
			}
			w.Mass, w.Step = mass.Mass, mass.Step
		case "ms":
			if f == "" {
				continue
			}
			t, err := strconv.ParseFloat(f, 64)
			if err != nil || !(t > 0 && t < 3_600_000) {
				return w, c.errorf(i, "%q is not a time in milliseconds", f)
			}
			ms = units.Milliseconds(t)
		}
	}
	if w.Pockets == 0 || w.Mass == 0 {
		return w, c.errorf(0, "pockets and grams are wanted in every line")
	}
	w.Time = ms
	return w, nil
}
