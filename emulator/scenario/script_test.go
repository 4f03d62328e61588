package scenario_test

import (
	"strings"
	"testing"

	"mealtab/emulator/scenario"
)

// TestFaultsOfScripts: each is told with its place and what would be right.
func TestFaultsOfScripts(t *testing.T) {
	const good = "name = \"x\"\nplan = \"p\"\nstart = 2027-06-01T06:30:00\nrun = \"2h\"\n"
	for _, c := range []struct{ name, src, want string }{
		{"syntax", "name = x", "s.toml:1:8: "},
		{"unknown key", good + "color = \"red\"\n", `s.toml:5:1: no scenario has the key "color"`},
		{"unknown key of an event", good + "[[event]]\nat = \"1h\"\ndo = \"reset\"\nwhy = 1\n", `s.toml:8:1: no scenario has the key "event.why"`},
		{"no name", "plan = \"p\"", "has no name"},
		{"no plan", "name = \"x\"", "has no plan"},
		{"no start", "name = \"x\"\nplan = \"p\"", "has no start"},
		{"no run", "name = \"x\"\nplan = \"p\"\nstart = 2027-06-01T06:30:00", `has no run = "36h"`},
		{"no expectation", good, "add [[expect]]"},
		{"no such action", good + "[[event]]\nat = \"1h\"\ndo = \"dance\"\n[[expect]]\nfaults = []\n", `event 1: "dance" cannot be done; there are backup flat`},
		{"too many volts", good + "[[event]]\nat = \"1h\"\ndo = \"supply\"\nvolts = 50\n[[expect]]\nfaults = []\n", "event 1 (supply): volts is 50; give 0 to 6 V, such as volts = 3"},
		{"a slow wheel that stands", good + "[[event]]\nat = \"1h\"\ndo = \"wheel speed\"\n[[expect]]\nfaults = []\n", "event 1 (wheel speed): percent is 0; give 10 to 300 % of what was calibrated"},
		{"an oscillator off by half", good + "[[event]]\nat = \"1h\"\ndo = \"oscillator\"\npercent = -50\n[[expect]]\nfaults = []\n", "percent is -50; give -20 to 20 %"},
		{"no number", good + "[[event]]\nat = \"1h\"\ndo = \"current limit\"\namps = nan\n[[expect]]\nfaults = []\n", "amps is NaN; give 0 to 10 A (0: none)"},
		{"event without time", good + "[[event]]\ndo = \"reset\"\n[[expect]]\nfaults = []\n", "event 1 (reset) has no time: add at"},
	} {
		_, err := scenario.Parse("s.toml", []byte(c.src))
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want %q", c.name, err, c.want)
		}
	}
}

// FuzzScript: no text makes the reader panic.
func FuzzScript(f *testing.F) {
	f.Add([]byte("name = \"x\"\nplan = \"p\"\nstart = 2027-06-01T06:30:00\nrun = \"2h\"\n[[event]]\nat = \"1h\"\ndo = \"reset\"\n[[expect]]\nfaults = []\n"))
	f.Fuzz(func(t *testing.T, src []byte) {
		if s, err := scenario.Parse("s.toml", src); (s == nil) == (err == nil) {
			t.Errorf("script %v, error %v", s, err)
		}
	})
}
