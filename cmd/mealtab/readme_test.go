package main

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func readme(t *testing.T) string {
	t.Helper()
	src, err := os.ReadFile(filepath.Join("..", "..", "README.md"))
	require.NoError(t, err)
	return string(src)
}

// blocks are the fenced blocks of a language.
func blocks(text, language string) (list []string) {
	for _, m := range regexp.MustCompile("(?s)```"+language+"\n(.*?)```").FindAllStringSubmatch(text, -1) {
		list = append(list, m[1])
	}
	return list
}

// What the README shows as a plan is one, without a warning.
func TestReadmePlans(t *testing.T) {
	plans := blocks(readme(t), "toml")
	require.NotEmpty(t, plans)
	for _, p := range plans {
		var out, errs bytes.Buffer
		code := newApp(strings.NewReader(p), &out, &errs).execute([]string{"check", "-", "--now", "2026-11-25", "--strict"})
		assert.Equal(t, exitGood, code, "%s\n%s", p, errs.String())
	}
}

// What it shows as JSON is what comes out.
func TestReadmeJSON(t *testing.T) {
	shown := blocks(readme(t), "json")
	require.Len(t, shown, 1)
	var out, errs bytes.Buffer
	code := newApp(bytes.NewReader(demoPlan), &out, &errs).execute([]string{"replay", "-", "--format", "json", "--from", "2027-03-28", "--to", "2027-03-28"})
	require.Equal(t, exitGood, code, errs.String())
	assert.Equal(t, shown[0], out.String())
}

// The rules it recommends are accepted, and the commands it shows exist.
func TestReadmeRulesAndCommands(t *testing.T) {
	text := readme(t)
	rules := regexp.MustCompile("`(FREQ=[A-Z0-9=;,+-]+)`").FindAllStringSubmatch(text, -1)
	require.Greater(t, len(rules), 8)
	for _, m := range rules {
		var out, errs bytes.Buffer
		code := newApp(nil, &out, &errs).execute([]string{"rule", m[1], "--dtstart", "2027-01-31T07:00", "--zone", "Europe/Lisbon", "--now", "2026-11-25"})
		assert.Equal(t, exitGood, code, "%s: %s", m[1], errs.String())
	}
	root := newApp(nil, nil, nil).rootCommand()
	for _, m := range regexp.MustCompile("`mealtab ([a-z]+)").FindAllStringSubmatch(text, -1) {
		cmd, _, err := root.Find([]string{m[1]})
		require.NoError(t, err, m[1])
		assert.Equal(t, m[1], cmd.Name())
	}
	for _, cmd := range root.Commands() {
		if !cmd.Hidden && cmd.Name() != "help" && cmd.Name() != "completion" {
			assert.True(t, strings.Contains(text, "| `mealtab "+cmd.Name()), "the README's table of commands has no %s", cmd.Name())
			assert.NotEmpty(t, cmd.Example, cmd.Name())
		}
	}
}
