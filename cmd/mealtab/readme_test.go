package main

import (
	"bytes"
	"encoding/json"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/food/ration"
	"mealtab/compiler/reader"
	"mealtab/compiler/report/history"
	"mealtab/compiler/table"
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

// section is the text from a heading up to the next that begins alike.
func section(t *testing.T, text, heading, next string) string {
	t.Helper()
	_, rest, found := strings.Cut(text, heading)
	require.True(t, found, heading)
	part, _, found := strings.Cut(rest, next)
	require.True(t, found, next)
	return part
}

// firstCells are the code words in the first column of a section's tables.
func firstCells(section string) (list []string) {
	for _, row := range regexp.MustCompile("(?m)^\\| (`[^|]+) \\|").FindAllStringSubmatch(section, -1) {
		for _, word := range regexp.MustCompile("`([^`]+)`").FindAllStringSubmatch(row[1], -1) {
			list = append(list, word[1])
		}
	}
	return list
}

// Pets and food are described key by key: all keys that are read, and no others.
func TestReadmePetsAndFood(t *testing.T) {
	text := readme(t)
	assert.ElementsMatch(t, ration.Keys, firstCells(section(t, text, "**`[[pet]]`**", "**`[food]`**")))
	food := firstCells(section(t, text, "**`[food]`**", "Meals are on whole minutes"))
	var b strings.Builder
	for _, key := range food {
		b.WriteString(key + " = 1\n")
	}
	p, ds := reader.Parse("p.toml", []byte("zone = \"Europe/Lisbon\"\n[food]\n"+b.String()+"[[meal]]\nname = \"m\"\nportion = \"1 pocket\"\nat = [\"07:00\"]\n"))
	require.NotNil(t, p, "%v", ds)
	assert.Len(t, p.Food, len(food))
	_, ds = reader.Parse("p.toml", []byte("[food]\ncolour = 1\n"))
	for _, d := range ds {
		if strings.Contains(d.Message, "colour") {
			for _, known := range regexp.MustCompile(`[a-z]+`).FindAllString(strings.TrimPrefix(d.Hint, "known here: "), -1) {
				assert.Contains(t, food, known)
			}
			return
		}
	}
	t.Fatal("an unknown key of the food is not refused")
}

// The fields of battery and journal are those that come out.
func TestReadmeBatteryAndJournal(t *testing.T) {
	text := readme(t)
	sections := strings.SplitN(section(t, text, "## Battery and journal as JSON", "## Where the RFC"), "`mealtab journal", 2)
	require.Len(t, sections, 2)
	var out, errs bytes.Buffer
	code := newApp(bytes.NewReader(demoPlan), &out, &errs).execute([]string{"battery", "-", "--board", "m328-cells", "--computed", "--format", "json", "--now", "2026-12-01"})
	require.Equal(t, exitGood, code, errs.String())
	var battery map[string]any
	require.NoError(t, json.Unmarshal(out.Bytes(), &battery))
	assert.ElementsMatch(t, slices.Collect(maps.Keys(battery)), firstCells(sections[0]))
	for _, list := range []string{"items", "gains"} {
		for key := range battery[list].([]any)[0].(map[string]any) {
			assert.Contains(t, sections[0], "`"+key+"`", list)
		}
	}
	line, err := json.Marshal(history.Entry{})
	require.NoError(t, err)
	var journal map[string]any
	require.NoError(t, json.Unmarshal(line, &journal))
	assert.ElementsMatch(t, slices.Collect(maps.Keys(journal)), firstCells(sections[1]))
	for _, e := range table.Events() {
		assert.Contains(t, sections[1], "`"+strings.ToLower(strings.ReplaceAll(e.Name, "_", " "))+"`")
	}
}
