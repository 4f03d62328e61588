package main

import (
	"bytes"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/table"
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

// Beyond two days people count days.
func TestDuration(t *testing.T) {
	for minutes, want := range map[table.Minute]string{
		5: "5 min", 60: "1 h", 690: "11 h 30 min", 25 * 60: "25 h", 48 * 60: "48 h", 49 * 60: "2 days 1 h", 72 * 60: "3 days", 73*60 + 5: "3 days 1 h 5 min",
	} {
		assert.Equal(t, want, duration(minutes))
	}
}

func TestFlow(t *testing.T) {
	assert.Equal(t, "a b c\n\n  d\n  e\n\nf", flow("a\nb\nc\n\n  d\n  e\n\nf"))
}
