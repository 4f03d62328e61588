package main

import (
	"os/exec"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// listed is a package of the module with what it imports, tests left out.
type listed struct {
	path, doc     string
	imports, deps []string
}

func listPackages(t *testing.T) (all []listed) {
	t.Helper()
	const format = `{{.ImportPath}}|{{.Doc}}|{{join .Imports " "}}|{{join .Deps " "}}`
	cmd := exec.Command("go", "list", "-f", format, "mealtab/...")
	out, err := cmd.Output()
	require.NoError(t, err, "go list")
	for line := range strings.Lines(string(out)) {
		f := strings.Split(strings.TrimSpace(line), "|")
		n := len(f)
		require.GreaterOrEqual(t, n, 4, line)
		all = append(all, listed{f[0], strings.Join(f[1:n-2], "|"), strings.Fields(f[n-2]), strings.Fields(f[n-1])})
	}
	require.NotEmpty(t, all)
	return all
}

// never says which packages must not depend on which others, not even through a third.
var never = []struct{ from, to, why string }{
	{"compiler/recur", "compiler/lower", "referee and lowering must not share a mistake"},
	{"compiler/recur", "compiler/table", "the referee knows nothing of the table"},
	{"compiler/recur", "compiler/replay", "the referee knows nothing of the replay"},
	{"compiler/replay", "compiler/plan", "a replay reads the table and nothing else"},
	{"compiler/replay", "compiler/zone", "a replay reads the table's own zone"},
	{"compiler", "emulator", "what a plan and a table say needs no CPU"},
	{"compiler/lower", "compiler/recur", "they meet only in the proof"},
	{"compiler/table", "compiler/plan", "a table knows nothing of plans"},
	{"compiler/table", "compiler/zone", "a table carries its own zone"},
	{"compiler/prove", "compiler/report", "compiling knows nothing of reports"},
	{"compiler/decompile", "compiler/report", "compiling knows nothing of reports"},
	{"compiler/zone", "compiler/plan", "zones know nothing of plans"},
	{"compiler/plan", "compiler/table", "plans know nothing of tables"},
	{"compiler/plan", "compiler/zone", "plans name zones and know none"},
	{"compiler/plan", "compiler/reader", "a plan does not know where it was read"},
	{"compiler/plan", "compiler/draft", "a plan does not know where it was read"},
	{"compiler/draft", "compiler/ical", "what is checked is the same in every language"},
	{"compiler/draft", "compiler/reader", "what is checked is the same in every language"},
	{"compiler/draft", "compiler/recur", "drafts ask for instances, and expand nothing"},
	{"compiler/draft", "compiler/table", "limits of the table come as data"},
	{"compiler/reader/toml", "compiler/ical", "the languages of plans know nothing of each other"},
	{"compiler/ical", "compiler/reader", "the languages of plans know nothing of each other"},
	{"compiler/ical", "compiler/recur", "calendars ask for instances, and expand nothing"},
	{"compiler/ical", "compiler/table", "a calendar shows meals, and knows no table"},
	{"compiler/source", "compiler/plan", "text with its places, whatever it says"},
	{"compiler/lower", "compiler/reader", "lowering takes plans, however they were read"},
	{"compiler/recur", "compiler/reader", "the referee reads the text of rules itself"},
	{"compiler/prove", "compiler/reader", "a proof takes plans, however they were read"},
	{"compiler/plan", "compiler/recur", "plans expand nothing"},
	{"emulator", "compiler/plan", "a feeder knows nothing of plans"},
	{"emulator", "compiler/recur", "a feeder knows nothing of recurrence rules"},
	{"emulator", "compiler/lower", "a feeder knows nothing of the compiler"},
	{"flasher", "compiler/recur", "an upload knows nothing of recurrence rules"},
	{"flasher", "compiler/plan", "an upload knows nothing of plans"},
	{"flasher", "compiler/lower", "an upload knows nothing of the compiler"},
	{"compiler", "flasher", "compiling needs no board"},
	{"emulator", "flasher/ports", "an emulated board needs no port"},
	{"emulator/avr", "flasher", "a chip knows nothing of who talks to it"},
	{"emulator/board", "flasher", "a board knows nothing of who talks to it"},
	{"flasher", "flasher/ports", "a conversation needs no port of this computer"},
	{"flasher", "emulator", "an upload does not know whether its board is a real one"},
	{"compiler", "cmd", "nothing imports cmd"},
	{"emulator", "cmd", "nothing imports cmd"},
	{"flasher", "cmd", "nothing imports cmd"},
}

// alone lists packages that only some packages may import.
var alone = map[string][]string{
	"github.com/teambition/rrule-go": {"compiler/recur"},
	"go.bug.st/serial":               {"flasher/ports"},
	"github.com/spf13/cobra":         {"cmd"},
	"github.com/schollz/progressbar": {"cmd"},
}

// bare packages import nothing but the standard library and each other.
var bare = []string{"compiler/table", "emulator/avr", "flasher/frame", "compiler/ihex", "compiler/ical", "compiler/source", "compiler/units"}

// under reports whether a path of the module is that of a tree, or below it.
func under(path, tree string) bool {
	return path == "mealtab/"+tree || strings.HasPrefix(path, "mealtab/"+tree+"/")
}

// isForTests reports whether a package only helps tests, which bring together what the product keeps apart.
func isForTests(p listed) bool { return strings.HasSuffix(p.path, "test") }

func isCommand(p listed) bool {
	return under(p.path, "cmd") || strings.HasSuffix(p.path, "gen") // generators are programs
}

func TestArrows(t *testing.T) {
	for _, p := range listPackages(t) {
		assert.NotEmpty(t, p.doc, "%s opens with no comment that says what comes in and what goes out", p.path)
		for _, rule := range never {
			if !under(p.path, rule.from) || isCommand(p) || isForTests(p) {
				continue
			}
			for _, dep := range p.deps {
				assert.False(t, under(dep, rule.to), "%s depends on %s: %s", p.path, dep, rule.why)
			}
		}
		for _, imported := range p.imports {
			for lib, users := range alone {
				if strings.HasPrefix(imported, lib) {
					assert.True(t, slices.ContainsFunc(users, func(u string) bool { return under(p.path, u) }), "%s imports %s, which is for %v only", p.path, lib, users)
				}
			}
		}
		for _, b := range bare {
			if p.path != "mealtab/"+b {
				continue
			}
			for _, dep := range p.deps {
				first, _, _ := strings.Cut(dep, "/")
				outside := strings.Contains(first, ".") || first == "mealtab" && !slices.Contains(bare, strings.TrimPrefix(dep, "mealtab/"))
				assert.False(t, outside, "%s depends on %s: it wants the standard library only", p.path, dep)
			}
		}
	}
}

// Rules about packages that do not exist guard nothing.
func TestArrowsNameRealPackages(t *testing.T) {
	all := listPackages(t)
	exists := func(tree string) bool {
		return slices.ContainsFunc(all, func(p listed) bool { return under(p.path, tree) })
	}
	for _, rule := range never {
		assert.True(t, exists(rule.from), rule.from)
	}
	for _, b := range bare {
		assert.True(t, exists(b), b)
	}
}
