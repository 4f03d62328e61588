package profile

import (
	"errors"
	"fmt"
	"strings"

	"github.com/pelletier/go-toml/v2/unstable"
)

// fault is a value that cannot be, by its key.
type fault struct {
	key, problem string
	also         string // the key that it clashes with; empty: none
}

func (f *fault) Error() string { return f.key + " = " + f.problem }

// at is the error of a key's value.
func at(key, format string, args ...any) error {
	return &fault{key: key, problem: fmt.Sprintf(format, args...)}
}

// place is where a key stands.
type place struct{ line, column int }

// placesOf finds the keys of a TOML text, tables included: "pins.led". The text has been read without an error before.
func placesOf(src []byte) map[string]place {
	places := map[string]place{}
	var p unstable.Parser
	p.Reset(src)
	table := ""
	for p.NextExpression() {
		e := p.Expression()
		var names []string
		var first *unstable.Node
		for it := e.Key(); it.Next(); {
			n := it.Node()
			if first == nil {
				first = n
			}
			names = append(names, string(n.Data))
		}
		if first == nil {
			continue
		}
		start := p.Shape(first.Raw).Start
		here := place{start.Line, start.Column}
		key := strings.Join(names, ".")
		switch e.Kind {
		case unstable.Table, unstable.ArrayTable:
			table = key + "."
			places[key] = here
		case unstable.KeyValue:
			places[table+key] = here
		}
	}
	return places
}

// located puts the file, and the line where there is one, before an error.
func located(name string, src []byte, err error) error {
	var f *fault
	if !errors.As(err, &f) {
		return fmt.Errorf("%s: %w", name, err)
	}
	places := placesOf(src)
	for _, key := range []string{f.key, f.also} {
		if p, ok := places[key]; ok {
			return fmt.Errorf("%s:%d:%d: %w", name, p.line, p.column, err)
		}
	}
	return fmt.Errorf("%s: %w", name, err)
}
