package main

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var (
	ownerBlock = regexp.MustCompile("(?s)```(console|toml)\n(.*?)```\n")
	shellWord  = regexp.MustCompile(`"[^"]*"|\S+`)
)

// The owner's page shows what the commands print, one after the other on its own plan; -update rewrites it.
func TestOwnerPage(t *testing.T) {
	page := filepath.Join("..", "..", "compiler", "food", "ration", "OWNER.md")
	src, err := os.ReadFile(page)
	require.NoError(t, err)
	page, err = filepath.Abs(page)
	require.NoError(t, err)
	t.Chdir(t.TempDir())
	ran := 0
	got := ownerBlock.ReplaceAllStringFunc(string(src), func(block string) string {
		m := ownerBlock.FindStringSubmatch(block)
		if m[1] == "toml" {
			require.NoError(t, os.WriteFile("plan.toml", []byte(m[2]), 0o666))
			return block
		}
		command, _, _ := strings.Cut(m[2], "\n")
		ran++
		return "```console\n" + command + "\n" + runShown(t, command) + "```\n"
	})
	require.Greater(t, ran, 5)
	if *update {
		require.NoError(t, os.WriteFile(page, []byte(got), 0o666))
		return
	}
	assert.Equal(t, string(src), got, "run go test ./cmd/mealtab -run TestOwnerPage -update, and read the difference")
}

// runShown runs "$ mealtab …" and gives both outputs as a terminal shows them.
func runShown(t *testing.T, command string) string {
	words := shellWord.FindAllString(command, -1)
	require.Equal(t, []string{"$", "mealtab"}, words[:2], command)
	for i, w := range words {
		words[i] = strings.Trim(w, `"`)
	}
	var out bytes.Buffer
	a := newApp(strings.NewReader(""), &out, &out)
	a.now = time.Date(2026, 12, 1, 12, 0, 0, 0, time.UTC)
	code := a.execute(words[2:])
	assert.Contains(t, []int{exitGood, exitFailed}, code, "%s\n%s", command, out.String())
	return out.String()
}
