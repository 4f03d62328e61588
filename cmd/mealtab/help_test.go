package main

import (
	"bytes"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The help of every command fits a hundred columns, and describes every flag.
func TestHelpIsNarrow(t *testing.T) {
	commands := newApp(nil, nil, nil).rootCommand().Commands()
	require.Greater(t, len(commands), 20)
	for _, c := range commands {
		name := c.Name()
		var out, errs bytes.Buffer
		require.Equal(t, exitGood, newApp(nil, &out, &errs).execute([]string{name, "--help"}), errs.String())
		for line := range strings.Lines(out.String()) {
			assert.LessOrEqual(t, utf8.RuneCountInString(strings.TrimSuffix(line, "\n")), helpWidth, "%s: %s", name, line)
		}
		for _, flag := range []string{"--now T", "--zoneinfo DIR", "-h, --help"} {
			assert.Contains(t, out.String(), flag, name)
		}
	}
}

func TestFlow(t *testing.T) {
	assert.Equal(t, "a b c\n\n  d\n  e\n\nf", flow("a\nb\nc\n\n  d\n  e\n\nf"))
}
