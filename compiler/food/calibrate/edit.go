package calibrate

import (
	"bytes"
	"errors"
	"fmt"
	"reflect"

	"github.com/pelletier/go-toml/v2"

	"mealtab/compiler/edit"
)

// Setting is a key of [wheel] with its value: a string without quotes in it.
type Setting struct{ Key, Value string }

// EditWheel sets keys of the [wheel] table in the text of a TOML plan, as package edit does. The result is read back and
// compared before it is returned.
func EditWheel(src []byte, settings []Setting) ([]byte, error) {
	out := src
	for _, s := range settings {
		d, err := edit.ParseTables(out)
		if err != nil {
			return nil, fmt.Errorf("the plan is not TOML: %w", err)
		}
		out = d.Set(edit.Key{Table: "wheel", Name: s.Key}, edit.Quote(s.Value))
	}
	if err := compare(src, out, settings); err != nil {
		return nil, fmt.Errorf("internal error: %w; the plan was left as it is", err)
	}
	return out, nil
}

// compare reads both texts as TOML: they must differ in the settings and in nothing else.
func compare(old, edited []byte, settings []Setting) error {
	read := func(src []byte) (all map[string]any, err error) {
		err = toml.Unmarshal(bytes.TrimPrefix(src, []byte("\xEF\xBB\xBF")), &all)
		return all, err
	}
	want, err := read(old)
	if err != nil {
		return err
	}
	got, err := read(edited)
	if err != nil {
		return err
	}
	table, ok := want["wheel"].(map[string]any)
	if !ok {
		table = map[string]any{}
	}
	for _, s := range settings {
		table[s.Key] = s.Value
	}
	want["wheel"] = table
	if !reflect.DeepEqual(want, got) {
		return errors.New("the edited plan would say something else")
	}
	return nil
}
